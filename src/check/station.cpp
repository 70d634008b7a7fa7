#include "station.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <linebench/report/words.hpp>

#include "readings.hpp"
#include "round.hpp"

namespace linebench::check {
namespace {

using report::Outcome;
using report::Point;
using report::Weight;

std::string lower(std::string s) {
  std::transform(s.begin(), s.end(), s.begin(), [](unsigned char c) { return std::tolower(c); });
  return s;
}

const StationPlan* plan_named(const Knowledge& k, const std::string& name) {
  for (const StationPlan& p : k.plans) {
    if (p.name == name) return &p;
  }
  return nullptr;
}

// The plan that names this type; empty where none does.
std::string plan_for(const Knowledge& k, const std::string& type) {
  for (const StationPlan& p : k.plans) {
    if (std::any_of(p.types.begin(), p.types.end(),
                    [&](const std::string& t) { return lower(t) == lower(type); }))
      return p.name;
  }
  return {};
}

struct Tested {
  const StationPlan* plan = nullptr;
  std::map<std::string, const job::Capture*> captures;  // last of each test
  std::vector<std::string> skipped;                     // titles
  std::vector<std::string> waiting;                     // titles of tests not come to yet
  int repairs = 0;
};

// What was tested up to this round; a job that is walked through again knows no more there than it did then.
Tested tested(const Work& w, const Knowledge& k, int upto) {
  Tested t;
  const std::string* plan = w.answer("station.plan");
  if (plan != nullptr) t.plan = plan_named(k, *plan);
  if (t.plan == nullptr) return t;
  for (int round = 1; round < upto; ++round) {
    if (w.answer(round_key("station.repair", round)) != nullptr) t.repairs = round;
  }
  for (const StationTest& test : t.plan->tests) {
    bool skip = false;
    for (int round = 1; round <= t.repairs + 1; ++round) {
      const std::string key = round_key("test." + test.key, round);
      if (const job::Capture* c = w.capture(key)) {
        t.captures[test.key] = c;
        skip = false;
      } else if (w.answer(key) != nullptr && round == 1) {
        skip = true;
      }
    }
    if (skip) t.skipped.push_back(test.title);
    if (!skip && !t.captures.contains(test.key)) t.waiting.push_back(test.title);
  }
  return t;
}

std::vector<PastStation> good_units(const Work& w, const Knowledge& k) {
  std::vector<PastStation> good;
  for (const PastStation& p : k.history) {
    if (p.job.reference && p.job.uid != w.job.uid) good.push_back(p);
  }
  return good;
}

bool complained(const Work& w) {
  const std::string* c = w.answer("complaint");
  return c != nullptr && !c->empty();
}

// Soak events, or nothing when no soak was made.
const job::Capture* soak_of(const Work& w) { return w.capture("station.soak"); }

void add_test_points(const Tested& t, const Words& words, std::vector<Point>& points, bool& fails,
                     bool& open) {
  for (const StationTest& test : t.plan->tests) {
    const auto it = t.captures.find(test.key);
    if (it == t.captures.end()) continue;
    const auto wrong = troubles(*it->second);
    for (const Trouble& x : wrong) {
      const report::Words say = report::words_for(x.id, x.side);
      points.push_back(
          {Weight::Change, test.title + ": " + x.text, std::string(say.meaning), std::string(say.next), ""});
      fails = true;
    }
    for (const Gap& g : gaps(*it->second)) {
      points.push_back(
          {Weight::Note,
           words.text("station-missing", {{"test", test.title}, {"what", g.label}, {"reason", g.reason}}), "",
           "", ""});
      open = true;
    }
    if (wrong.empty() && it->second->missing.empty())
      points.push_back({Weight::Good, words.text("station-within", {{"test", test.title}}), "", "", ""});
  }
  for (const std::string& title : t.skipped)
    points.push_back({Weight::Note, words.text("station-skipped", {{"test", title}}), "", "", ""});
}

// @return whether something is unlike the good units'.
bool add_reference_points(const Tested& t, const Work& w, const Knowledge& k, std::vector<Point>& points) {
  const auto good = good_units(w, k);
  const auto unlike = unlike_reference(t.captures, good);
  const int units = reference_units(t.captures, good);
  for (const Unlike& u : unlike) {
    points.push_back({Weight::Note,
                      k.words.text("station-unlike", {{"what", t.captures.at(u.test)->label + ": " + u.label},
                                                      {"value", fmt::format("{:.3g} {}", u.value, u.unit)},
                                                      {"mean", fmt::format("{:.3g} {}", u.mean, u.unit)},
                                                      {"spread", fmt::format("{:.2g}", u.spread)},
                                                      {"units", std::to_string(u.units)}}),
                      k.words.text("station-unlike-why"), "", ""});
  }
  if (unlike.empty()) {
    points.push_back(units >= 3
                         ? Point{Weight::Good,
                                 k.words.text("station-like", {{"units", std::to_string(units)}}), "", "", ""}
                         : Point{Weight::Note,
                                 k.words.text("station-no-reference", {{"units", std::to_string(units)}}), "",
                                 "", ""});
  }
  return !unlike.empty();
}

// Hours of a long run, or less in words a person reads.
std::string run_time(double seconds) {
  if (seconds < 120) return fmt::format("{:.0f} s", seconds);
  if (seconds < 7200) return fmt::format("{:.0f} min", seconds / 60);
  return fmt::format("{:.3g} h", seconds / 3600);
}

constexpr double usual_soak_hours = 1;  // where nobody said how many

// A run that was stopped early is no long run: it may not clear a unit.
bool soak_whole(const Work& w, const job::Capture& c) {
  const std::string* hours = w.answer("station.soak-hours");
  const double asked = 3600 * (hours == nullptr ? usual_soak_hours : std::strtod(hours->c_str(), nullptr));
  return c.facts.duration_s() >= 0.98 * asked;
}

bool add_soak_points(const Work& w, const job::Capture& c, const Words& words, std::vector<Point>& points) {
  const auto wrong = troubles(c);
  for (const Trouble& x : wrong) {
    const report::Words say = report::words_for(x.id, x.side);
    points.push_back(
        {Weight::Change, c.label + ": " + x.text, std::string(say.meaning), std::string(say.next), ""});
  }
  if (wrong.empty()) {
    const bool whole = soak_whole(w, c);
    points.push_back({whole ? Weight::Good : Weight::Note,
                      words.text(whole ? "station-soak-clean" : "station-soak-short",
                                 {{"time", run_time(c.facts.duration_s())}}),
                      "", "", ""});
  }
  return !wrong.empty();
}

CaptureWish wish_of(const StationTest& test, const Profile& profile, int round, const Words& words) {
  CaptureWish wish;
  wish.view = test.video ? CaptureWish::View::Video : CaptureWish::View::Audio;
  wish.label = round == 1 ? test.title
                          : words.text("station-again-label",
                                       {{"test", test.title}, {"repair", std::to_string(round - 1)}});
  wish.signal = test.signal;
  wish.seconds = test.seconds;
  wish.limits = test.limits;
  wish.system = profile.system;
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

// Whether this test is made in this round: all in the first, then those that the round before left wrong. A
// repair of a unit that passed is followed by all of them: what was measured before it proves nothing after.
bool due(const Work& w, const StationPlan& plan, const StationTest& test, int round) {
  if (round == 1 || left_wrong(w, test, round)) return true;
  const bool passed = std::none_of(plan.tests.begin(), plan.tests.end(),
                                   [&](const StationTest& t) { return left_wrong(w, t, round); });
  return passed && before_round(w, test, round) != nullptr;
}

std::string result_word(const Work& w, const Outcome& o, const Tested& t, const Words& words) {
  if (o.mark == report::Mark::Fail) return words.text("station-word-fail");
  if (o.mark != report::Mark::Pass) return words.text("station-word-open");
  if (t.repairs > 0) return words.text("station-word-repair");
  return words.text(complained(w) ? "station-word-no-fault" : "station-word-pass");
}

Outcome outcome_upto(const Work& w, const Knowledge& k, int upto, const job::Capture* soak) {
  const Tested t = tested(w, k, upto);
  Outcome o;
  if (t.plan == nullptr || t.captures.empty()) return o;
  bool fails = false;
  bool open = !t.waiting.empty();  // what its plan lets one skip decides nothing
  add_test_points(t, k.words, o.points, fails, open);
  for (int round = 1; round <= t.repairs; ++round) {
    const std::string* done = w.answer(round_key("station.repair", round));
    if (done != nullptr)
      o.points.push_back({Weight::Note, k.words.text("station-repair-done", {{"done", *done}}), "", "", ""});
  }
  const bool unlike = add_reference_points(t, w, k, o.points);
  if (soak != nullptr) {
    fails = add_soak_points(w, *soak, k.words, o.points) || fails;
    open = open || !soak_whole(w, *soak);
  }
  std::stable_sort(o.points.begin(), o.points.end(),
                   [](const Point& a, const Point& b) { return a.weight < b.weight; });
  const auto say = [&](report::Mark mark, const char* key) {
    o.mark = mark;
    o.headline = k.words.text(key);
  };
  if (fails) {
    say(report::Mark::Fail, "station-fail");
  } else if (open) {
    say(report::Mark::Incomplete, "station-open");
  } else if (t.repairs > 0) {
    say(report::Mark::Pass, "station-repaired");
  } else if (complained(w)) {
    say(report::Mark::Pass, unlike            ? "station-suspect"
                            : soak != nullptr ? "station-no-fault-soaked"
                                              : "station-no-fault");
  } else {
    say(report::Mark::Pass, unlike ? "station-pass-unlike" : "station-pass");
  }
  return o;
}

}  // namespace

Outcome station_outcome(const Work& w, const Knowledge& k) {
  return outcome_upto(w, k, most_rounds, soak_of(w));
}

std::vector<report::PaperTable> station_tables(const Work& w, const Knowledge& k) {
  std::vector<PastStation> returns;
  for (const PastStation& p : k.history) {
    if (p.job.uid != w.job.uid && p.job.station && w.job.station &&
        p.job.station->uid == w.job.station->uid && p.job.opened_at < w.job.opened_at)
      returns.push_back(p);
  }
  returns.push_back(past_station(w));
  report::PaperTable trend =
      trend_table(k.words.text("station-trend"), k.words.text("station-trend-text"), returns);
  if (trend.rows.empty()) return {};
  return {std::move(trend)};
}

Step station_flow(Script& s, const Knowledge& k) {
  const std::string type = s.text({.key = "station.type"});
  (void)s.text({.key = "station.serial"});
  (void)s.text({.key = "complaint", .optional = true});
  (void)s.text({.key = "site.name", .words = "station.site", .optional = true});
  std::vector<Choice> plans;
  for (const StationPlan& p : k.plans) plans.push_back({p.name, p.title});
  const std::string suited = plan_for(k, type);
  const std::string name = s.choose(
      {.key = "station.plan", .choices = plans, .otherwise = suited.empty() ? plans.front().word : suited});
  const StationPlan* plan = plan_named(k, name);
  ask_checklist(s, k.checklist, "before");
  for (int round = 1;; ++round) {
    for (const StationTest& test : plan->tests) {
      if (!due(s.work(), *plan, test, round)) continue;
      (void)s.capture({.key = round_key("test." + test.key, round),
                       .words = "station.test",
                       .values = {{"test", test.title}},
                       .optional = test.optional,
                       .help = test.steps,
                       .cautions = test.cautions,
                       .draw = test.draw},
                      wish_of(test, k.profile, round, k.words));
    }
    Outcome now = outcome_upto(s.work(), k, round, nullptr);
    const bool fails = now.mark == report::Mark::Fail;
    const std::string key = round_key("station.next", round);
    const std::string next =
        s.choose({.key = key, .words = fails ? "station.next.failed" : "station.next.passed", .news = now});
    if (next == "repair" && round < most_rounds) {
      (void)s.text({.key = round_key("station.repair", round), .words = "station.repair"});
      continue;
    }
    if (next == "soak") {
      CaptureWish wish;
      wish.label = s.words().text("station-soak-label");
      wish.signal = "tone-1k";
      wish.limits = "soak";
      wish.soak = true;
      wish.seconds = 3600 * s.number({.key = "station.soak-hours"}, 0.01, 168).value_or(usual_soak_hours);
      const job::Capture* soak = s.capture({.key = "station.soak", .optional = true}, wish);
      now = outcome_upto(s.work(), k, round, soak);
    }
    ask_checklist(s, k.checklist, "after");
    Step last;
    last.outcome = result_word(s.work(), now, tested(s.work(), k, round), s.words());
    last.reference = next == "reference" && now.mark == report::Mark::Pass;
    last.news = std::move(now);
    return last;
  }
}

}  // namespace linebench::check
