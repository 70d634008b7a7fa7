#include "feed.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "feed_picture.hpp"
#include "feed_sound.hpp"
#include "readings.hpp"
#include "round.hpp"

namespace linebench::check {
namespace {

using report::Outcome;
using report::Point;
using report::Weight;

// The stored answers of one feed; captures of the last round.
struct Feed {
  const Work& work;
  int mains_hz;
  int round = 1;
  const job::Capture* sound = nullptr;
  const job::Capture* quiet = nullptr;  // the source on, nothing playing
  bool quiet_now = false;               // and taken as the sound was, no change between them
  const job::Capture* picture = nullptr;
};

// What is told better without programme over it.
const std::vector<std::string>& quiet_ids() {
  static const std::vector<std::string> ids = {"audio.hum",         "audio.noise.unweighted", "audio.noise.a",
                                               "audio.noise.bs468", "audio.whistle",          "audio.whine",
                                               "audio.phone_burst", "audio.level.dc"};
  return ids;
}

bool fails(const job::Capture& c, std::string_view id) {
  for (const Reading& r : c.readings) {
    if (base_id(r.id) == id && r.verdict == Verdict::Fail) return true;
  }
  return false;
}

bool told_quietly(const Feed& f, const job::Capture& c, const std::string& id) {
  if (!f.quiet_now || &c == f.quiet) return false;
  // Said of the quiet take already.
  if (fails(*f.quiet, id)) return true;
  // Programme blurs these readings; what stands out of their limits beyond that goes into the installation
  // with it.
  if (std::any_of(c.readings.begin(), c.readings.end(),
                  [&](const Reading& r) { return base_id(r.id) == id && judge::fails_beyond_doubt(r); }))
    return false;
  return std::any_of(quiet_ids().begin(), quiet_ids().end(),
                     [&](const std::string& q) { return id == q || id.starts_with(q + "."); });
}

// Whether what reads as hum is of a frequency that no public mains has: 1 % either way [EN 50160]. The notes
// that are nearest to 50 and 60 Hz are 2 % and more away [ISO 16].
bool of_other_frequency(const job::Capture& c, int mains_hz) {
  bool any = false;
  for (const Reading& r : c.readings) {
    if (base_id(r.id) != "audio.hum.level" || r.verdict != Verdict::Fail) continue;
    constexpr double widest = 0.01;
    const std::string side = r.id.substr(base_id(r.id).size());
    const Reading* hz = find_reading(c.readings, "audio.hum.frequency" + side);
    if (hz == nullptr || !hz->measured() || !off_mains(*hz, mains_hz, widest)) return false;
    any = true;
  }
  return any;
}

// A lead that picks up a line rate does so whether or not something plays; and what hums with a note's
// frequency only while notes are played is a held note.
bool with_the_programme(const Feed& f, const job::Capture& c, const std::string& id) {
  if (!f.quiet_now || &c == f.quiet) return false;
  if (id != "audio.whistle.level" && id != "audio.whine.level" &&
      (id != "audio.hum.level" || !of_other_frequency(c, f.mains_hz)))
    return false;
  bool judged = false;
  for (const Reading& r : f.quiet->readings) {
    if (base_id(r.id) != id) continue;
    if (r.verdict != Verdict::Pass && !bounded_within(r)) return false;
    judged = true;
  }
  return judged;
}

// @param upto a job that is walked through again knows no more in a round than it did then.
Feed last_round(const Work& w, int mains_hz, int upto) {
  Feed f{w, mains_hz};
  while (f.round < upto && w.answer(round_key("feed.again", f.round)) != nullptr &&
         *w.answer(round_key("feed.again", f.round)) == "yes" &&
         (w.capture(round_key("feed.audio", f.round + 1)) != nullptr ||
          w.capture(round_key("feed.video", f.round + 1)) != nullptr)) {
    ++f.round;
  }
  // What was left out in a round stands as it was found before: a skipped part is not a mended one. Nor is
  // it one that the change has left as it was: a quiet take of before clears nothing after it.
  const auto last = [&](const char* key, const job::Capture*& c) {
    int n = f.round;
    while (n >= 1 && (c = w.capture(round_key(key, n))) == nullptr) --n;
    return n;
  };
  const int sound = last("feed.audio", f.sound);
  f.quiet_now = last("feed.quiet", f.quiet) >= sound && f.quiet != nullptr;
  (void)last("feed.video", f.picture);
  return f;
}

// "mono", "stereo", "one"; a feed of the picture alone is asked none.
std::string use_of(const Work& w) {
  const std::string* use = w.answer("feed.use");
  return use != nullptr ? *use : "mono";
}

// The side that a one-sided feed does carry: "left", "right" or "".
std::string only_side(const job::Capture& c) {
  const Reading* left = find_reading(c.readings, "audio.signal.left");
  const Reading* right = find_reading(c.readings, "audio.signal.right");
  if (left == nullptr || right == nullptr || !left->measured() || !right->measured()) return {};
  if (left->text() == "present" && right->text() != "present") return "left";
  if (right->text() == "present" && left->text() != "present") return "right";
  return {};
}

// Tops cut at full scale may have been cut by the recorder; below it they came so.
bool card_may_clip(const job::Capture& c) {
  constexpr double near_top_dbfs = -0.1;
  for (const Reading& r : c.readings) {
    if (base_id(r.id) == "audio.clip.level" && r.measured() && r.number() > near_top_dbfs) return true;
  }
  return false;
}

// What the empty side of a one-sided feed reads says nothing about the feed.
job::Capture without_empty_side(const job::Capture& c, const std::string& carried) {
  job::Capture told = c;
  if (carried.empty()) return told;
  const std::string empty = carried == "left" ? ".right" : ".left";
  const auto of_it = [&](const std::string& id) { return id.ends_with(empty); };
  std::erase_if(told.readings, [&](const Reading& r) { return of_it(r.id); });
  std::erase_if(told.missing, of_it);
  return told;
}

// @return whether one is left open: within its uncertainty of the limit it could be either.
bool add_problems(const Feed& f, const job::Capture& c, const Words& words, std::vector<Point>& points) {
  const std::string carried = only_side(c);
  bool open = false;
  for (const Trouble& t : troubles(without_empty_side(c, carried))) {
    // Of a side that does not hold, what and when is said by add_sound().
    if (told_quietly(f, c, t.id) || too_short_for(c, t.id) || t.id == "audio.pair.steady") continue;
    if (with_the_programme(f, c, t.id)) {
      const char* why = t.id == "audio.hum.level" ? "feed-note-within-why" : "feed-whistle-within-why";
      points.push_back(
          {Weight::Note, words.text("feed-within", {{"what", t.text}}), words.text(why), "", ""});
      continue;
    }
    // What a mono sum loses is nothing to a feed whose sides are kept apart.
    const bool stereo = use_of(f.work) == "stereo";
    const Advice* a = words.advice(t.id, stereo ? "stereo" : t.direction);
    if (stereo && a == words.advice(t.id, "")) a = words.advice(t.id, t.direction);
    const bool mixed = mixed_to_a_side(c, t.id);
    if ((t.doubtful || mixed) && (a == nullptr || !a->stop)) {
      const Advice* either = words.advice(t.id, mixed ? "mixed" : "doubtful");
      const char* settles = t.id.starts_with("audio.") ? "feed-either-do" : "feed-either-picture-do";
      points.push_back({Weight::Note,
                        words.text(t.doubtful ? "feed-either" : "feed-mixed", {{"what", t.text}}),
                        either != nullptr ? either->why : "",
                        either != nullptr ? either->action : words.text(settles), ""});
      open = true;
      continue;
    }
    const Values values = {{"amount", fmt::format("{:.1f}", t.beyond)},
                           {"value", t.value},
                           {"to_middle", fmt::format("{:.1f}", t.to_middle)}};
    Point p{.weight = a != nullptr && a->stop ? Weight::Stop : Weight::Change, .what = t.text};
    p.why = Words::filled(a != nullptr ? a->why : words.text("feed-other-why"), values);
    p.action = Words::filled(a != nullptr ? a->action : words.text("feed-other-do"), values);
    if (a != nullptr) p.caution = a->caution;
    if (hum_or_sag(c, t.id)) {
      p.why = words.text("feed-hum-or-sag");
      p.action = words.text("feed-hum-or-sag-do");
    }
    if (t.id == "audio.dropout.count" || t.id == "audio.click.count") {
      if (const std::string when = times_of(c, t, words); !when.empty())
        p.what = words.text("soak-at", {{"what", p.what}, {"when", when}});
    }
    // One in all of it may be the programme's own: a gate, an edit.
    if (t.id == "audio.dropout.count" && t.beyond <= 1) {
      p.weight = Weight::Change;
      p.why = words.text("feed-dropout-once");
      p.action = words.text("feed-dropout-once-do");
    }
    // Behind a coupling capacitor only a part of them is counted: the reading says so.
    if (t.id == "audio.clip.samples") {
      const auto said = std::ranges::find_if(c.readings, [](const Reading& r) {
        return base_id(r.id) == "audio.clip.samples" && r.verdict == Verdict::Fail && !r.reason.empty();
      });
      if (said != c.readings.end()) p.what += "; " + said->reason;
    }
    if (t.id == "audio.clip.samples" && card_may_clip(c)) {
      p.weight = Weight::Change;
      p.why = words.text("feed-card-clips");
      p.action = words.text("feed-card-clips-do");
    }
    points.push_back(std::move(p));
  }
  if (!carried.empty() && use_of(f.work) != "one") {
    points.push_back({Weight::Change, words.text("feed-one-sided", {{"side", words.text("side-" + carried)}}),
                      words.text("feed-one-sided-why"),
                      words.text("feed-one-sided-do", {{"side", words.text("side-" + carried)}}),
                      words.text("feed-one-sided-caution")});
  }
  return open;
}

void add_mono(const job::Capture& c, const Words& words, std::vector<Point>& points) {
  const Reading* polarity = find_reading(c.readings, "audio.pair.polarity");
  if (polarity == nullptr || !polarity->measured() || polarity->number() < 0) return;
  const Reading* delay = find_reading(c.readings, "audio.pair.delay");
  const double late_s = delay != nullptr && delay->measured() ? std::abs(delay->number()) : 0;
  // Two sides summed with a delay d cancel first at 1 / 2d; inside the speech band that is heard.
  constexpr double speech_top_hz = 3400, audible_top_hz = 20000;
  if (late_s > 0 && 0.5 / late_s < audible_top_hz) {
    const bool speech = 0.5 / late_s < speech_top_hz;
    points.push_back({speech ? Weight::Change : Weight::Note,
                      words.text("feed-mono-late", {{"ms", fmt::format("{:.2f}", 1000 * late_s)},
                                                    {"hz", fmt::format("{:.0f}", 0.5 / late_s)}}),
                      words.text(speech ? "feed-mono-late-why" : "feed-mono-late-high-why"),
                      words.text("feed-mono-late-do"), ""});
  } else {
    points.push_back({Weight::Good, words.text("feed-mono-good"), "", "", ""});
  }
}

void add_loudness(const job::Capture& c, const Words& words, std::vector<Point>& points) {
  const Reading* r = find_reading(c.readings, "audio.loudness.integrated");
  if (r == nullptr || !r->measured()) return;
  constexpr double r128_lufs = -23.0;                                         // [EBU R 128] target
  const double over = std::round(10 * (r->number() - r128_lufs)) / 10 + 0.0;  // no minus before nought
  points.push_back({Weight::Note,
                    words.text("feed-loudness", {{"value", fmt::format("{:.1f}", r->number())},
                                                 {"over", fmt::format("{:+.1f}", over)}}),
                    "", "", ""});
}

bool add_missing(const Feed& f, const job::Capture& c, const Words& words, std::vector<Point>& points) {
  std::vector<Gap> open = gaps(without_empty_side(c, only_side(c)));
  std::erase_if(open, [&](const Gap& g) { return told_quietly(f, c, g.id); });
  // Where nothing came in there is nothing to judge; that is said once, and not as eight things to be done.
  if (fails(c, "audio.signal") || fails(c, "video.signal") || fails(c, "picture.signal"))
    return !open.empty();
  for (const Gap& g : folded(open)) {
    const Advice* a = words.advice(g.id, "missing");
    points.push_back({Weight::Note, words.text("feed-missing", {{"what", g.label}, {"reason", g.reason}}), "",
                      a != nullptr ? a->action : std::string(), ""});
  }
  return !open.empty();
}

// A part that the feed carries and nobody took in, or too little of it to hold its loudest part.
bool add_untaken(const Feed& f, const Words& words, std::vector<Point>& points) {
  constexpr double least_s = 5;
  const std::string* carries = f.work.answer("feed.carries");
  const std::size_t before = points.size();
  const auto open = [&](const std::string& key, const Values& values) {
    points.push_back({Weight::Note, words.text(key, values), "", words.text(key + "-do"), ""});
  };
  if (carries != nullptr && *carries == "both") {
    if (f.sound == nullptr) open("feed-no-sound", {});
    if (f.picture == nullptr) open("feed-no-picture", {});
  }
  if (f.sound != nullptr && f.sound->facts.duration_s() < least_s)
    open("feed-short", {{"seconds", fmt::format("{:.1f}", f.sound->facts.duration_s())}});
  return points.size() > before;
}

bool any(const std::vector<Point>& points, Weight weight) {
  for (const Point& p : points) {
    if (p.weight == weight) return true;
  }
  return false;
}

CaptureWish sound_wish(const Script& s, const std::string& level, std::optional<double> full_scale_v,
                       int round) {
  CaptureWish w;
  w.label = s.words().text(round == 1 ? "feed-audio-label" : "feed-audio-label-again",
                           {{"n", std::to_string(round)}});
  w.seconds = 30;
  w.limits = level + "-feed";
  w.full_scale_v = full_scale_v;
  return w;
}

// How loud the programme is that the source was silent before or after.
std::optional<double> programme_dbfs(const job::Capture* sound) {
  const Reading* r = sound == nullptr ? nullptr : find_reading(sound->readings, "audio.programme.level");
  return r != nullptr && r->measured() ? std::optional(r->number()) : std::nullopt;
}

CaptureWish quiet_wish(const Script& s, const std::string& level, std::optional<double> full_scale_v,
                       const job::Capture* sound, int round) {
  CaptureWish w;
  w.label = s.words().text(round == 1 ? "feed-quiet-label" : "feed-quiet-label-again",
                           {{"n", std::to_string(round)}});
  w.seconds = 10;
  w.only = quiet_ids();
  for (const char* id : {"audio.tone", "audio.level.rms", "audio.level.peak"}) w.only.emplace_back(id);
  w.limits = level + "-feed";
  w.full_scale_v = full_scale_v;
  w.programme_dbfs = programme_dbfs(sound);
  return w;
}

CaptureWish picture_wish(const Script& s, const std::string& system, int round) {
  CaptureWish w;
  w.view = CaptureWish::View::Video;
  w.label = s.words().text(round == 1 ? "feed-video-label" : "feed-video-label-again",
                           {{"n", std::to_string(round)}});
  w.seconds = picture_look_s;
  w.system = system;
  return w;
}

}  // namespace

namespace {

Outcome outcome_upto(const Work& work, const Knowledge& k, int round) {
  const Feed f = last_round(work, k.profile.mains_hz, round);
  Outcome o;
  if (f.sound == nullptr && f.picture == nullptr) return o;
  bool missing = add_untaken(f, k.words, o.points);
  for (const job::Capture* c : {f.sound, f.quiet, f.picture}) {
    if (c == nullptr) continue;
    missing = add_problems(f, *c, k.words, o.points) || missing;
    if (c == f.quiet && !f.quiet_now) continue;
    const bool gaps = add_missing(f, *c, k.words, o.points);
    missing = gaps || missing;
    if (c == f.quiet && !gaps && f.sound != nullptr)
      missing = add_quiet(*c, *f.sound, k.words, o.points) || missing;
  }
  if (f.picture != nullptr) missing = add_picture(f.work, *f.picture, k, o.points) || missing;
  if (f.sound != nullptr) {
    missing = add_sound(*f.sound, use_of(work), k.words, o.points) || missing;
    if (use_of(work) == "mono" && !fails(*f.sound, "audio.pair.polarity") && !sides_change(*f.sound))
      add_mono(*f.sound, k.words, o.points);
    add_loudness(*f.sound, k.words, o.points);
  }
  std::stable_sort(o.points.begin(), o.points.end(),
                   [](const Point& a, const Point& b) { return a.weight < b.weight; });
  if (any(o.points, Weight::Stop)) {
    o.mark = report::Mark::Fail;
    o.headline = k.words.text("feed-stop");
  } else if (any(o.points, Weight::Change)) {
    o.mark = report::Mark::Fail;
    const auto changes = std::count_if(o.points.begin(), o.points.end(),
                                       [](const Point& p) { return p.weight == Weight::Change; });
    o.headline = k.words.text(changes > 1 ? "feed-changes" : "feed-change");
  } else if (missing) {
    o.mark = report::Mark::Incomplete;
    o.headline = k.words.text("feed-open");
  } else {
    o.mark = report::Mark::Pass;
    o.headline = k.words.text("feed-connect");
  }
  return o;
}

}  // namespace

Outcome feed_outcome(const Work& work, const Knowledge& k) {
  return outcome_upto(reached(work, next_step(work, k).answered), k, most_rounds);
}

Step feed_flow(Script& s, const Knowledge& k) {
  (void)s.text({.key = "feed.name", .longest = longest_name});
  (void)s.text({.key = "site.name", .optional = true, .longest = longest_name});
  const std::string kind = s.choose({.key = "feed.carries"});
  std::string level = "professional";
  std::optional<double> full_scale_v;
  if (kind != "video") {
    level = s.choose({.key = "feed.level"});
    (void)s.choose({.key = "feed.use"});
    full_scale_v = s.number({.key = "feed.full-scale", .optional = true}, 0.001, 1000);
  }
  std::string system;
  if (kind != "audio") system = s.choose({.key = "feed.system", .otherwise = k.profile.system});
  for (int round = 1;; ++round) {
    if (kind != "video") {
      const job::Capture* sound = s.capture(
          {.key = round_key("feed.audio", round), .words = "feed.audio." + level, .optional = kind == "both"},
          sound_wish(s, level, full_scale_v, round));
      (void)s.capture({.key = round_key("feed.quiet", round), .words = "feed.quiet", .optional = true},
                      quiet_wish(s, level, full_scale_v, sound, round));
    }
    if (kind != "audio") {
      const job::Capture* picture = s.capture(
          {.key = round_key("feed.video", round), .words = "feed.video", .optional = kind == "both"},
          picture_wish(s, system, round));
      if (picture != nullptr && !colourless(*picture).empty()) (void)s.choose({.key = "feed.colour"});
    }
    Outcome now = outcome_upto(s.so_far(), k, round);
    if (now.headline.empty()) {
      now = {report::Mark::Incomplete, s.words().text("feed-nothing"), {}};
    } else if (now.mark == report::Mark::Pass) {
      ask_checklist(s, k.checklist, "after");
    }
    const bool sound = now.mark == report::Mark::Pass;
    if (sound || round == most_rounds ||
        s.choose({.key = round_key("feed.again", round),
                  .words = now.mark == report::Mark::Incomplete ? "feed.again-open" : "feed.again",
                  .news = now}) != "yes") {
      Step last;
      last.outcome = s.words().text(any(now.points, Weight::Stop)     ? "feed-word-stop"
                                    : any(now.points, Weight::Change) ? "feed-word-change"
                                    : sound                           ? "feed-word-connect"
                                                                      : "feed-word-open");
      last.news = std::move(now);
      return last;
    }
  }
}

}  // namespace linebench::check
