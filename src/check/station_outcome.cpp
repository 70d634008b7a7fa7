// What a station's tests and long runs come to.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <linebench/report/format.hpp>
#include <linebench/report/words.hpp>
#include <set>

#include "readings.hpp"
#include "round.hpp"
#include "station_state.hpp"

namespace linebench::check {
namespace {

using report::Outcome;
using report::Point;
using report::Weight;

// One of each station, as it passed last: a unit that came back three times is no three units, and has no
// spread of theirs.
std::vector<PastStation> good_units(const Work& w, const Knowledge& k) {
  std::vector<PastStation> good;
  for (const PastStation& p : k.history) {
    const report::Mark came_to = mark_of_result(p.job, k.words).value_or(report::Mark::Pass);
    if (!p.job.reference || p.job.uid == w.job.uid || came_to != report::Mark::Pass) continue;
    std::erase_if(good, [&](const PastStation& x) { return x.job.station->uid == p.job.station->uid; });
    good.push_back(p);
  }
  return good;
}

// A camera that gives colour and sends none: without burst it fails; by a grabber's frames the scene may have
// had none.
void add_colour(const Tested& t, const Work& w, const Words& words, std::vector<Point>& points, bool& fails,
                bool& open, std::set<std::string>& doubted) {
  const std::string* colour = w.answer("station.colour");
  if (colour == nullptr || *colour != "yes") return;
  for (const StationTest& test : t.plan->tests) {
    const auto it = t.captures.find(test.key);
    const std::string seen = it == t.captures.end() ? "" : colourless(*it->second);
    if (seen.empty()) continue;
    const bool shown = seen == "waveform";
    const std::string key = shown ? "station-no-burst" : "station-no-chroma";
    points.push_back({shown ? Weight::Change : Weight::Note, words.text(key, {{"test", test.title}}), "",
                      words.text(key + "-do"), ""});
    (shown ? fails : open) = true;
    doubted.insert(test.key);
  }
}

Point point_of(const StationTest& test, const job::Capture& c, const Trouble& x, const Words& words) {
  const report::Words say = words_of(x);
  // There it is no path's gain.
  const bool howls = c.limit_set == "feedback-margin" && x.side == judge::Side::High;
  const std::string what = test.title + ": " + x.text;
  return {Weight::Change, x.doubtful ? words.text("feed-either", {{"what", what}}) : what,
          howls ? words.text("station-howls-why") : std::string(say.meaning),
          howls ? words.text("station-howls-do") : std::string(say.next), ""};
}

void add_test_points(const Tested& t, const std::set<std::string>& doubted, const Words& words,
                     std::vector<Point>& points, bool& fails, bool& open) {
  std::vector<Point> doubtful;  // what could be either is not the first thing to look at
  for (const StationTest& test : t.plan->tests) {
    const auto it = t.captures.find(test.key);
    if (it == t.captures.end()) continue;
    const auto wrong = troubles(*it->second);
    for (const Trouble& x : wrong) {
      (x.doubtful ? doubtful : points).push_back(point_of(test, *it->second, x, words));
      fails = true;
    }
    const bool nothing_came =
        std::ranges::any_of(wrong, [](const Trouble& x) { return x.id == "audio.signal"; });
    for (const Gap& g : folded(gaps(*it->second))) {
      open = true;
      if (nothing_came) continue;
      points.push_back(
          {Weight::Note,
           words.text("station-missing", {{"test", test.title}, {"what", g.label}, {"reason", g.reason}}), "",
           "", ""});
    }
    if (wrong.empty() && it->second->missing.empty() && !doubted.contains(test.key))
      points.push_back({Weight::Good, words.text("station-within", {{"test", test.title}}), "", "", ""});
  }
  const auto last = std::ranges::find(points.rbegin(), points.rend(), Weight::Change, &Point::weight).base();
  points.insert(last, doubtful.begin(), doubtful.end());
  open = open || !t.before_repair.empty();
  for (const std::string& title : t.before_repair)
    points.push_back({Weight::Note, words.text("station-before-repair", {{"test", title}}), "", "", ""});
  for (const Tested::Skipped& x : t.skipped) {
    points.push_back({Weight::Note,
                      words.text(x.reason.empty() ? "station-skipped" : "station-skipped-why",
                                 {{"test", x.title}, {"reason", x.reason}}),
                      "", "", ""});
    open = open || x.decides;
  }
}

struct Span {
  double from, to;
};

// From how quiet to how loud tones were sent that distortion was read of; nothing: it was read of none.
std::optional<Span> distortion_dbfs(const Tested& t) {
  std::optional<Span> all;
  for (const auto& [key, c] : t.captures) {
    for (const Reading& r : c->readings) {
      const bool tells = base_id(r.id) == "audio.thd" || base_id(r.id) == "audio.thd_n";
      if (!tells || (!r.measured() && !bounded_within(r))) continue;
      const std::string side = r.id.substr(base_id(r.id).size());
      const Reading* came = find_reading(c->readings, "audio.tone.level" + side);
      const Reading* gain = find_reading(c->readings, "audio.tone.gain" + side);
      if (came == nullptr || gain == nullptr || !came->measured() || !gain->measured()) continue;
      const double sent = came->number() - gain->number();
      all = all ? Span{std::min(all->from, sent), std::max(all->to, sent)} : Span{sent, sent};
    }
  }
  return all;
}

// A stage that clips at the level speech is sent at is clean below it; one whose halves do not meet is clean
// at that level.
void add_distortion_point(const Tested& t, const Words& words, std::vector<Point>& points) {
  constexpr double nominal_dbfs = -20;  // [SMPTE RP 155], as signals/tone-1k-nominal.toml
  constexpr double quiet_dbfs = -40;    // as signals/tone-1k-quiet.toml
  constexpr double near_db = 3;
  if (std::ranges::all_of(t.plan->tests, [](const StationTest& test) { return test.video; })) return;
  const auto span = distortion_dbfs(t);
  const auto told = [&](const char* key, double level, const char* action) {
    const Values values = {{"level", fmt::format("{:.0f}", level)},
                           {"under", fmt::format("{:.0f}", nominal_dbfs - level)}};
    points.push_back({Weight::Note, words.text(key, values), "", words.text(action), ""});
  };
  if (!span || span->to <= nominal_dbfs - near_db)
    told(span ? "station-distortion-upto" : "station-distortion-none", span ? span->to : 0,
         "station-distortion-do");
  if (span && span->from > quiet_dbfs + near_db)
    told("station-distortion-downto", span->from, "station-distortion-downto-do");
}

// Three figures, as the rest of the paper has them.
std::string three_figures(double value, const std::string& unit) {
  const double size = std::abs(value);
  const int before = size > 0 ? static_cast<int>(std::floor(std::log10(size))) : 0;
  return fmt::format("{:.{}f}{}{}", value, std::clamp(2 - before, 0, 3), unit.empty() ? "" : " ", unit);
}

// @return whether something is unlike the good units'.
bool add_reference_points(const Tested& t, const Work& w, const Knowledge& k, std::vector<Point>& points) {
  const auto good = good_units(w, k);
  const auto unlike = unlike_reference(t.captures, good);
  const int units = reference_units(t.captures, good);
  for (const Unlike& u : unlike) {
    if (u.fails) continue;
    points.push_back({Weight::Note,
                      k.words.text("station-unlike", {{"what", t.captures.at(u.test)->label + ": " + u.label},
                                                      {"value", three_figures(u.value, u.unit)},
                                                      {"mean", three_figures(u.mean, u.unit)},
                                                      {"spread", three_figures(u.spread, "")},
                                                      {"units", std::to_string(u.units)}}),
                      k.words.text("station-unlike-why"), "", ""});
  }
  if (unlike.empty()) {
    // Of three units Student's t lets one more be sixteen spreads off, of five some five.
    constexpr int enough = 5;
    const char* key = units >= enough ? "station-like"
                      : units >= 3    ? "station-like-few"
                                      : "station-no-reference";
    points.push_back({units >= enough ? Weight::Good : Weight::Note,
                      k.words.text(key, {{"units", std::to_string(units)}}), "", "", ""});
  }
  return !unlike.empty();
}

// What the last long run of a kind says of the station as it is now. A fault that it showed and that was
// repaired since is gone only when another long run does not show it.
void add_soak_points(const Work& w, const StationState& state, bool picture, const Words& words,
                     std::vector<Point>& points, bool& fails, bool& open) {
  const auto found = std::find_if(state.soaks.rbegin(), state.soaks.rend(),
                                  [&](const SoakRun& run) { return run.picture() == picture; });
  if (found == state.soaks.rend()) return;
  const SoakRun& last = *found;
  const job::Capture& c = *last.capture;
  const bool whole = soak_whole(w, c);
  if (last.round < state.round) {
    if (!soak_failed(c)) return;
    points.push_back(
        {Weight::Note, words.text("station-soak-due"), "", words.text("station-soak-due-do"), ""});
    open = true;
    return;
  }
  // What a run showed once stands until something was repaired: a quiet run after it undoes nothing.
  bool failed = false;
  for (const SoakRun& run : state.soaks) {
    if (run.picture() != picture || run.round < state.round) continue;
    for (const Trouble& x : troubles(*run.capture)) {
      const report::Words say = words_of(x);
      const std::string when = times_of(*run.capture, x, words);
      points.push_back(
          {Weight::Change,
           run.capture->label + ": " +
               (when.empty() ? x.text : words.text("soak-at", {{"what", x.text}, {"when", when}})),
           std::string(say.meaning), std::string(say.next), ""});
      failed = true;
    }
  }
  fails = fails || failed;
  if (!soak_failed(c))
    points.push_back({whole ? Weight::Good : Weight::Note,
                      words.text(!whole    ? "station-soak-short"
                                 : picture ? "station-soak-clean-picture"
                                           : "station-soak-clean",
                                 {{"time", report::show_duration(c.facts.duration_s())}}),
                      "", "", ""});
  open = open || !whole;
}

bool complained(const Work& w) {
  const std::string* c = w.answer("complaint");
  return c != nullptr && !c->empty();
}

void add_repairs(const Work& w, const StationState& state, const Words& words, std::vector<Point>& points) {
  for (int round = 1; round < state.round; ++round) {
    const std::string* done = w.answer(round_key("station.repair", round));
    if (done != nullptr)
      points.push_back({Weight::Note, words.text("station-repair-done", {{"done", *done}}), "", "", ""});
  }
}

const char* passed_because(const Work& w, const StationState& state, bool unlike) {
  if (state.round > 1) return "station-repaired";
  if (!complained(w)) return unlike ? "station-pass-unlike" : "station-pass";
  return unlike ? "station-suspect" : state.soaks.empty() ? "station-no-fault" : "station-no-fault-soaked";
}

}  // namespace

const StationPlan* plan_of(const Work& w, const Knowledge& k) {
  const std::string* name = w.answer("station.plan");
  if (name == nullptr) return nullptr;
  if (w.plan && w.plan->name == *name) return w.plan.get();
  const auto found =
      std::find_if(k.plans.begin(), k.plans.end(), [&](const StationPlan& p) { return p.name == *name; });
  return found == k.plans.end() ? nullptr : &*found;
}

Tested tested(const Work& w, const Knowledge& k, int upto) {
  Tested t;
  t.plan = plan_of(w, k);
  if (t.plan == nullptr) return t;
  for (const StationTest& test : t.plan->tests) {
    std::optional<Tested::Skipped> skip;
    bool before = false;  // it was measured in an earlier round
    int measured_in = 0;
    for (int round = 1; round <= upto; ++round) {
      const std::string key = round_key("test." + test.key, round);
      const std::string* answer = w.answer(key);
      if (const job::Capture* c = w.capture(key)) {
        t.captures[test.key] = c;
        measured_in = round;
        skip.reset();
        before = true;
      } else if (answer != nullptr && is_skipped(*answer)) {
        // What was measured before a repair says nothing of the unit after it.
        t.captures.erase(test.key);
        skip = Tested::Skipped{test.title, skip_reason(*answer), before || !test.optional};
      }
    }
    if (!skip && before && measured_in < upto) {
      t.captures.erase(test.key);
      t.before_repair.push_back(test.title);
    }
    if (skip) {
      t.skipped.push_back(*skip);
    } else if (!t.captures.contains(test.key)) {
      t.waiting = true;
    }
  }
  return t;
}

// A dead unit fails each of its tests for one reason.
void say_once(std::vector<Point>& points) {
  std::set<std::pair<std::string, std::string>> said;
  for (Point& p : points) {
    if (said.emplace(p.why, p.action).second) continue;
    p.why.clear();
    p.action.clear();
  }
}

bool soak_failed(const job::Capture& c) { return !troubles(c).empty(); }

// A run that ended early is no long run: it may not clear a unit.
bool soak_whole(const Work& w, const job::Capture& c) {
  const std::string* hours = w.answer("station.soak-hours");
  const double asked = 3600 * (hours == nullptr ? usual_soak_hours : std::strtod(hours->c_str(), nullptr));
  return !c.facts.interrupted && c.facts.duration_s() >= 0.98 * asked;
}

std::string result_word(const Work& w, const Outcome& o, const StationState& state, const Words& words) {
  if (o.mark == report::Mark::Fail) return words.text("station-word-fail");
  if (o.mark != report::Mark::Pass) return words.text("station-word-open");
  if (state.round > 1) return words.text("station-word-repair");
  if (o.headline == words.text("station-suspect")) return words.text("station-word-suspect");
  return words.text(complained(w) ? "station-word-no-fault" : "station-word-pass");
}

Outcome outcome_at(const Work& w, const Knowledge& k, const StationState& state) {
  const Tested t = tested(w, k, state.round);
  Outcome o;
  if (t.plan == nullptr || (t.captures.empty() && t.skipped.empty() && t.before_repair.empty())) return o;
  bool fails = false;
  bool open = t.waiting || t.captures.empty();
  std::set<std::string> doubted;  // within limits, and not good all the same
  add_colour(t, w, k.words, o.points, fails, open, doubted);
  for (const StationTest& test : t.plan->tests) {
    const auto it = t.captures.find(test.key);
    if (!test.video || it == t.captures.end()) continue;
    for (const diagnose::Gap& g : left_open(k, *it->second)) {
      o.points.push_back({Weight::Note, test.title + ": " + g.text + ".", "", g.how, ""});
      doubted.insert(test.key);
      open = true;
    }
  }
  add_test_points(t, doubted, k.words, o.points, fails, open);
  add_repairs(w, state, k.words, o.points);
  if (!fails) add_distortion_point(t, k.words, o.points);
  const bool unlike = add_reference_points(t, w, k, o.points);
  for (const bool picture : {false, true}) add_soak_points(w, state, picture, k.words, o.points, fails, open);
  std::stable_sort(o.points.begin(), o.points.end(),
                   [](const Point& a, const Point& b) { return a.weight < b.weight; });
  say_once(o.points);
  o.mark = fails ? report::Mark::Fail : open ? report::Mark::Incomplete : report::Mark::Pass;
  o.headline = k.words.text(fails  ? "station-fail"
                            : open ? "station-open"
                                   : passed_because(w, state, unlike));
  return o;
}

}  // namespace linebench::check
