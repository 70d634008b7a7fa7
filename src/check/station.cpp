#include "station.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/text.hpp>

#include "readings.hpp"
#include "round.hpp"
#include "station_state.hpp"

namespace linebench::check {
namespace {

using report::Outcome;

constexpr int most_soaks = 20;

bool has_camera(const StationPlan& plan) {
  return std::any_of(plan.tests.begin(), plan.tests.end(), [](const StationTest& t) { return t.video; });
}

// Made for this type; else one that asks for no camera, as most stations have none.
std::string plan_for(const Knowledge& k, const std::string& type) {
  const auto first = [&](auto suits) {
    const auto p = std::ranges::find_if(k.plans, suits);
    return p == k.plans.end() ? std::string() : p->name;
  };
  const std::string made_for = first([&](const StationPlan& p) {
    return std::ranges::any_of(p.types, [&](const auto& t) { return lower_case(t) == lower_case(type); });
  });
  return made_for.empty() ? first([](const StationPlan& p) { return !has_camera(p); }) : made_for;
}

CaptureWish wish_of(const StationTest& test, const std::string& system, int round, const Words& words) {
  CaptureWish wish;
  wish.view = test.video ? CaptureWish::View::Video : CaptureWish::View::Audio;
  wish.label = round == 1 ? test.title
                          : words.text("station-again-label",
                                       {{"test", test.title}, {"repair", std::to_string(round - 1)}});
  wish.signal = test.signal;
  wish.seconds = test.seconds;
  wish.limits = test.limits;
  wish.system = system;
  return wish;
}

// What the last measurement before this round said of a test; nothing when it was skipped.
const job::Capture* before_round(const Work& w, const StationTest& test, int round) {
  for (int r = round - 1; r >= 1; --r)
    if (const job::Capture* c = w.capture(round_key("test." + test.key, r))) return c;
  return nullptr;
}

bool left_wrong(const Work& w, const StationTest& test, int round) {
  const job::Capture* c = before_round(w, test, round);
  return c != nullptr && c->verdict != "pass";
}

// What is to be done next.
enum class Next { Round, Again, End };

Next after_soak(Script& s, const Outcome& now, int n, int round) {
  const bool fails = now.mark == report::Mark::Fail;
  const std::string next = s.choose({.key = round_key("station.soaked", n),
                                     .words = fails ? "station.soaked.failed" : "station.soaked.short",
                                     .news = now});
  if (next == "again" && n < most_soaks) return Next::Again;
  return next == "repair" && round < most_rounds ? Next::Round : Next::End;
}

constexpr const char* of_tone = "soak";
constexpr const char* of_picture = "picture-soak";

// What the other long run of a station with a camera is; empty where it has none, or both were made since the
// last repair.
std::string other_soak(const StationPlan& plan, const StationState& state) {
  if (!has_camera(plan)) return {};
  bool tone = false, picture = false;
  for (const SoakRun& run : state.soaks) {
    if (run.round == state.round) (run.picture() ? picture : tone) = true;
  }
  return tone && picture ? "" : tone ? of_picture : of_tone;
}

// After a run that showed nothing.
std::string after_clean(Script& s, const Outcome& now, int n, const std::string& other) {
  std::vector<Choice> choices;
  for (const Choice& c : s.words().question("station.soaked.other").choices) {
    if (c.word == "leave" || c.word == other) choices.push_back(c);
  }
  return s.choose({.key = round_key("station.soaked", n),
                   .words = "station.soaked.other",
                   .news = now,
                   .choices = choices});
}

// Long runs until one is the last of this round. @param kind of_tone or of_picture.
Next soak(Script& s, const Knowledge& k, const StationPlan& plan, StationState& state, std::string kind) {
  CaptureWish wish;
  wish.soak = true;
  wish.seconds = 3600 * s.number({.key = "station.soak-hours"}, 0.001, 168).value_or(usual_soak_hours);
  for (;;) {
    const int n = static_cast<int>(state.soaks.size()) + 1;
    const bool picture = kind == of_picture;
    wish.view = picture ? CaptureWish::View::Video : CaptureWish::View::Audio;
    wish.signal = picture ? "" : "tone-1k";
    wish.limits = kind;
    const std::string label = s.words().text(picture ? "station-soak-label-picture" : "station-soak-label");
    wish.label =
        n == 1 ? label
               : s.words().text("station-soak-label-again", {{"label", label}, {"n", std::to_string(n)}});
    const job::Capture* c =
        s.capture({.key = round_key("station.soak", n), .words = "station." + kind, .optional = true}, wish);
    if (c == nullptr) return Next::End;
    state.soaks.push_back({c, state.round});
    const Outcome now = outcome_at(s.so_far(), k, state);
    if (now.mark == report::Mark::Pass) {
      const std::string other = other_soak(plan, state);
      if (other.empty()) return Next::End;
      const std::string next = after_clean(s, now, n, other);
      if (next == "leave") return Next::End;
      kind = next;
      continue;
    }
    const Next next = after_soak(s, now, n, state.round);
    if (next != Next::Again) return next;
  }
}

void make_test(Script& s, const Knowledge& k, const StationTest& test, const StationState& state) {
  const int round = state.round;
  std::vector<std::string> steps = test.steps;
  if (!test.signal.empty())
    steps.push_back(k.words.text(k.sends ? "station-sent" : "station-send", {{"signal", test.signal}}));
  const job::Capture* c = s.capture({.key = round_key("test." + test.key, round),
                                     .words = "station.test",
                                     .values = {{"test", test.title}},
                                     .optional = test.optional,
                                     .reasoned = !test.optional,
                                     .help = std::move(steps),
                                     .cautions = test.cautions,
                                     .draw = test.draw},
                                    wish_of(test, state.system, round, k.words));
  if (c != nullptr && !colourless(*c).empty()) (void)s.choose({.key = "station.colour"});
}

// All in the first round. After a repair those that were wrong before; where they are right now, all the
// others as well, since a repair may break what passed before it.
void make_tests(Script& s, const Knowledge& k, const StationPlan& plan, const StationState& state) {
  const int round = state.round;
  bool still_fails = false;
  for (const StationTest& test : plan.tests) {
    if (round > 1 && !left_wrong(s.work(), test, round)) continue;
    make_test(s, k, test, state);
    const job::Capture* c = s.work().capture(round_key("test." + test.key, round));
    still_fails = still_fails || (c != nullptr && c->verdict == "fail");
  }
  if (round == 1 || still_fails) return;
  for (const StationTest& test : plan.tests) {
    if (!left_wrong(s.work(), test, round) && before_round(s.work(), test, round) != nullptr)
      make_test(s, k, test, state);
  }
}

Step station_steps(Script& s, const Knowledge& k, StationState& state) {
  const std::string type = s.text({.key = "station.type", .longest = longest_name});
  (void)s.text({.key = "station.serial", .longest = longest_name});
  (void)s.text({.key = "complaint", .optional = true});
  (void)s.text({.key = "site.name", .words = "station.site", .optional = true, .longest = longest_name});
  std::vector<Choice> plans;
  for (const StationPlan& p : k.plans) plans.push_back({p.name, p.title, p.text});
  if (const StationPlan* own = s.work().plan.get();
      own != nullptr &&
      std::none_of(plans.begin(), plans.end(), [&](const Choice& c) { return c.word == own->name; }))
    plans.push_back({own->name, own->title, own->text});
  const std::string suited = plan_for(k, type);
  (void)s.choose(
      {.key = "station.plan", .choices = plans, .otherwise = suited.empty() ? plans.front().word : suited});
  const StationPlan* plan = plan_of(s.work(), k);
  // Asked, and not taken from the laptop: another one, or this one set otherwise, goes on with the same job.
  if (has_camera(*plan))
    state.system = s.choose({.key = "station.system", .words = "feed.system", .otherwise = k.profile.system});
  ask_checklist(s, k.checklist, "before");
  for (;;) {
    make_tests(s, k, *plan, state);
    const Outcome now = outcome_at(s.so_far(), k, state);
    const std::string next = s.choose({.key = round_key("station.next", state.round),
                                       .words = now.mark == report::Mark::Fail ? "station.next.failed"
                                                : has_camera(*plan)            ? "station.next.passed.camera"
                                                                               : "station.next.passed",
                                       .news = now});
    const Next then = next == of_tone || next == of_picture           ? soak(s, k, *plan, state, next)
                      : next == "repair" && state.round < most_rounds ? Next::Round
                                                                      : Next::End;
    if (then == Next::Round) {
      (void)s.text({.key = round_key("station.repair", state.round), .words = "station.repair"});
      ++state.round;
      continue;
    }
    ask_checklist(s, k.checklist, "after");
    Step last;
    last.news = outcome_at(s.so_far(), k, state);
    last.outcome = result_word(s.so_far(), *last.news, state, s.words());
    last.reference = next == "reference" && last.news->mark == report::Mark::Pass;
    return last;
  }
}

}  // namespace

Step station_flow(Script& s, const Knowledge& k) {
  StationState state;
  return station_steps(s, k, state);
}

Outcome station_outcome(const Work& w, const Knowledge& k) {
  StationState state;
  Script script(w, k.words);
  const Route route = script.run([&](Script& s) { return station_steps(s, k, state); });
  return outcome_at(reached(w, route.answered), k, state);
}

std::vector<report::PaperTable> station_tables(const Work& w, const Knowledge& k) {
  std::vector<PastStation> returns;
  // In the store's order, not by the clock's times: a laptop's clock is set back now and then.
  for (const PastStation& p : k.history) {
    if (p.job.uid == w.job.uid) break;
    if (p.job.station && w.job.station && p.job.station->uid == w.job.station->uid) returns.push_back(p);
  }
  returns.push_back(past_station(reached(w, next_step(w, k).answered)));
  report::PaperTable trend =
      trend_table(k.words.text("station-trend"), k.words.text("station-trend-text"), returns);
  if (trend.rows.empty()) return {};
  return {std::move(trend)};
}

}  // namespace linebench::check
