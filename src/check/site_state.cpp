#include "site_state.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <iterator>
#include <linebench/base/text.hpp>
#include <string_view>

#include "readings.hpp"

namespace linebench::check {
namespace {

constexpr double least_bits = 0.05;
// Plugging in at another point and taking ten seconds; the project's estimate.
constexpr double measure_minutes = 4;

// A trial that tells of one medium only is nothing to do on a path of the other.
bool of_other_medium(const SiteState& s, const diagnose::NextTest& t) {
  if (!s.video) return t.medium == "picture";
  // A camera path's sound was taken in too: then it has sound to be tried.
  return t.medium == "sound" && !s.left_out.contains("capture-audio");
}

}  // namespace

bool SiteState::out_of_limits() const {
  return std::any_of(kept.begin(), kept.end(), [](const job::Capture* c) { return c->verdict == "fail"; });
}

std::vector<diagnose::Gap> SiteState::gaps() const {
  std::vector<CaptureFacts> facts;
  for (const diagnose::Capture& c : captures) facts.push_back(c.facts);
  return beyond_the_look(diagnosis.gaps, facts);
}

bool SiteState::no_fault_found() const {
  return measured() && looked_all && not_looked.empty() && !wrong() && !out_of_limits() && gaps().empty() &&
         diagnosis.unsettled.empty() && !unsafe() && (soak == nullptr || soak->verdict == "pass");
}

bool SiteState::stands() const {
  const bool named = by_limits_alone() ||
                     (!diagnosis.findings.empty() && diagnosis.findings.front().probability >= stands_from);
  const auto& next = diagnosis.next_test;
  const bool doubted = next && next->again && !left_out.contains(key_of(*next));
  return wrong() && named && !doubted && (measure_next().empty() || left_out.contains("measure"));
}

const job::Capture* SiteState::at_end() const {
  const auto last =
      std::find_if(at_part.rbegin(), at_part.rend(), [](const auto* c) { return c != nullptr; });
  return last == at_part.rend() ? nullptr : *last;
}

namespace {

// Not measured, and bounded by its own bound or by the level of the whole, of which it is a part.
bool cannot_exceed(const Readings& readings, const Reading& r) {
  if (bounded_within(r)) return true;
  if (r.measured() || !r.limit || !r.limit->max || r.limit->min) return false;
  constexpr std::string_view level = "audio.level.rms";
  const std::string suffix = r.id.substr(base_id(r.id).size());
  const Reading* whole = r.unit == "dBFS" ? find_reading(readings, std::string(level) + suffix) : nullptr;
  return whole != nullptr && whole->measured() && whole->number() <= *r.limit->max;
}

// Whether nothing is wrong at a part, by the readings that are out of limits at the path's end.
double within_there(const job::Capture& c, const std::vector<std::string>& out) {
  bool judged = false;
  for (const Reading& r : c.readings) {
    if (std::find(out.begin(), out.end(), base_id(r.id)) == out.end()) continue;
    if (r.verdict == Verdict::Fail) return 0;
    judged = judged || r.verdict == Verdict::Pass || cannot_exceed(c.readings, r);
  }
  // These are read where there is one: none is a good sign.
  for (const char* found : {"audio.tone.step", "audio.signal.step", "audio.response.echo.late"}) {
    judged = judged || (std::find(out.begin(), out.end(), found) != out.end() &&
                        std::none_of(c.readings.begin(), c.readings.end(),
                                     [&](const Reading& r) { return base_id(r.id) == found; }));
  }
  return judged ? 1 : 0.4;  // not decided, and so a place to come back to
}

// What shows a complaint.
std::vector<std::string> readings_of(const std::string& seen) {
  if (seen == "level") return {"audio.tone.gain", "audio.tone.level"};
  if (seen == "harsh") return {"audio.thd", "audio.thd_n", "audio.clip.samples"};
  if (seen == "crackle")
    return {"audio.dropout.count", "audio.crackle.count", "audio.click.count", "audio.tone.step"};
  if (seen == "hum") return {"audio.hum.level"};
  return {};
}

diagnose::Segment segment_by(const SiteState& s, const std::vector<std::string>& out) {
  std::vector<std::optional<double>> nothing_wrong_at;
  for (const job::Capture* c : s.at_part)
    nothing_wrong_at.push_back(c == nullptr ? std::nullopt : std::optional(within_there(*c, out)));
  return diagnose::segment_of(s.path, nothing_wrong_at);
}

// What one fault makes by itself; noise and the like are made by others of these as well.
bool of_its_own(const std::string& id) {
  static constexpr std::string_view ids[] = {
      "audio.tone.gain",     "audio.tone.step",     "audio.hum.level",         "audio.whistle.level",
      "audio.dropout.count", "audio.crackle.count", "audio.phone_burst.level", "audio.clip.samples"};
  return std::find(std::begin(ids), std::end(ids), id) != std::end(ids);
}

void follow_limits(SiteState& s) {
  s.out.clear();
  s.own.clear();
  s.second.clear();
  s.own_segment = {};
  const job::Capture* end = s.at_end();
  if (end != nullptr && names_one(s.diagnosis)) {
    const std::vector<std::string> shows = readings_of(s.seen);
    for (const Trouble& t : troubles(*end)) {
      const bool complaint = std::find(shows.begin(), shows.end(), t.id) != shows.end();
      if (complaint) s.own.push_back(t.id);
      if (complaint || !of_its_own(t.id)) continue;
      const auto between = segment_by(s, {t.id}).between;
      const bool apart = std::ranges::none_of(between, [&](const std::string& part) {
        return std::ranges::find(s.segment.between, part) != s.segment.between.end();
      });
      if (!between.empty() && apart)
        s.second.emplace_back(t.id, fmt::format("{}", fmt::join(between, " or ")));
    }
    if (!s.own.empty()) s.own_segment = segment_by(s, s.own);
  }
  if (end == nullptr || (s.nothing_wrong < 0.5 && names_one(s.diagnosis))) return;
  for (const Trouble& t : troubles(*end)) s.out.push_back(t.id);
  // What the book finds, though it names no fault for it, it has followed itself.
  if (!s.by_limits_alone()) return;
  s.segment = segment_by(s, s.out);
}

Look looked_at(const SiteState& s, const Knowledge& k) {
  const diagnose::Site site{s.system};
  // What a person told of comes first: of two pieces of evidence for one sign the first counts.
  const diagnose::Job job{s.captures, s.told, site};
  Look look{diagnose::diagnose(*k.book, job), diagnose::locate(*k.book, s.path, s.captures, site)};
  if (auto plain = segment_by_contrast(s); plain && plain->between != look.segment.between)
    look.segment = std::move(*plain);
  look.nothing_wrong = look.diagnosis.nothing_wrong;
  const std::set<std::string> barred = barred_places(s.path, look.segment, k.words);
  if (look.nothing_wrong < 0.5 && !barred.empty())
    look.diagnosis = diagnose::diagnose(*k.book, job, {.barred = barred});
  return look;
}

}  // namespace

void look(SiteState& s, const Knowledge& k) {
  const bool known = k.looks && k.looks->contains(s.evidence);
  const Look now = known ? k.looks->at(s.evidence) : looked_at(s, k);
  if (k.looks && !known) k.looks->emplace(s.evidence, now);
  s.diagnosis = now.diagnosis;
  s.segment = now.segment;
  s.nothing_wrong = now.nothing_wrong;
  follow_limits(s);
}

CaptureWish wish_at(const SiteState& s, const std::string& label, const std::string& path) {
  CaptureWish w;
  w.view = s.video ? CaptureWish::View::Video : CaptureWish::View::Audio;
  w.label = label;
  w.path = path;
  w.signal = s.video ? "" : s.signal;
  w.idle = !s.video && s.signal.empty();
  w.seconds = s.video ? picture_look_s : 10;
  w.limits = "speech-path";
  w.system = s.system;
  w.video_as = s.video ? s.video_as : "";
  return w;
}

std::vector<std::string> drawn(const SiteState& s, std::size_t part, const Words& words) {
  std::vector<std::string> draw;
  for (std::size_t i = 0; i <= part; ++i) {
    if (i > 0) draw.push_back(words.text("site-join"));
    draw.push_back(s.path.parts[i].name);
  }
  draw.push_back(words.text("site-plug"));
  draw.push_back(words.text(s.video ? "site-digitiser" : "site-card"));
  return draw;
}

void keep_capture(SiteState& s, const job::Capture& c) {
  s.captures.push_back({c.label, c.facts, c.readings});
  s.kept.push_back(&c);
  s.evidence += "\n" + c.uid;
}

report::Outcome news_of(const SiteState& s, const Words& words) {
  report::Outcome o = outcome_of_state(s, words);
  for (report::Point& p : o.points) {
    if (!s.unsafe() || p.weight != report::Weight::Stop) p = {report::Weight::Note, p.what, "", "", ""};
  }
  return o;
}

std::vector<std::string> parts_of(const std::string& text) {
  std::vector<std::string> parts;
  std::string part;
  const auto keep = [&] {
    const auto from = part.find_first_not_of(" \t");
    if (from != std::string::npos) {
      const std::string typed = part.substr(from, part.find_last_not_of(" \t") - from + 1);
      std::string name = typed;
      for (int n = 2; std::find(parts.begin(), parts.end(), name) != parts.end(); ++n)
        name = fmt::format("{} {}", typed, n);
      parts.push_back(std::move(name));
    }
    part.clear();
  };
  for (const char c : text) {
    if (c == ',') {
      keep();
    } else {
      part += c;
    }
  }
  keep();
  return parts;
}

std::string parts_at_last_visit(const std::vector<job::Path>& paths, const std::string& name) {
  const auto known = std::find_if(paths.begin(), paths.end(), [&](const job::Path& p) {
    return lower_case(p.name) == lower_case(name) && !p.from.empty() && !p.to.empty();
  });
  if (known == paths.end()) return {};
  return known->from + ", " + (known->cable.empty() ? "" : known->cable + ", ") + known->to;
}

std::optional<job::Path> path_of(const Work& work) {
  const std::string* name = work.answer("site.path");
  const std::string* typed = work.answer("site.parts");
  if (name == nullptr || typed == nullptr) return std::nullopt;
  const std::vector<std::string> parts = parts_of(*typed);
  if (parts.size() < 2) return std::nullopt;
  return job::Path{.uid = {},
                   .name = *name,
                   .from = parts.front(),
                   .to = parts.back(),
                   .cable = fmt::format("{}", fmt::join(parts.begin() + 1, parts.end() - 1, ", ")),
                   .length_m = {}};
}

std::string key_of(const diagnose::NextTest& t) { return t.again ? t.id + ".again" : t.id; }

std::optional<Proposal> propose(const SiteState& s) {
  if (s.unsafe()) return std::nullopt;
  // What contradicts the captures is made once more before anything is built on either.
  if (const auto& next = s.diagnosis.next_test; next && next->again && !s.left_out.contains(key_of(*next)))
    return Proposal{Proposal::Kind::Trial, 0, *next};
  std::optional<Proposal> best;
  double best_rate = 0;
  const auto& parts = s.path.parts;
  if (!s.measure_next().empty() && !s.left_out.contains("measure")) {
    for (std::size_t i = 0; i < parts.size(); ++i) {
      if (parts[i].name == s.measure_next()) {
        best = Proposal{Proposal::Kind::Measure, i, {}};
        best_rate = 1 / measure_minutes;
      }
    }
  }
  const bool sure = !s.diagnosis.findings.empty() && s.diagnosis.findings.front().probability >= stands_from;
  if (sure || s.by_limits_alone()) return best;
  std::vector<const diagnose::NextTest*> tests;
  if (s.diagnosis.next_test) tests.push_back(&*s.diagnosis.next_test);
  for (const diagnose::Finding& f : s.diagnosis.findings) {
    if (f.next_test) tests.push_back(&*f.next_test);
  }
  for (const diagnose::NextTest* t : tests) {
    // A path of sound has no picture to look at; the other way round a camera path's hum may be heard.
    const bool other_view = t->notation.empty() && !s.video && t->id != "capture-audio";
    if (other_view || of_other_medium(s, *t) || s.left_out.contains(key_of(*t)) || t->bits < least_bits ||
        t->minutes <= 0)
      continue;
    const double rate = t->bits / t->minutes;
    if (best && rate <= best_rate) continue;
    best = Proposal{t->notation.empty() ? Proposal::Kind::Capture : Proposal::Kind::Trial, 0, *t};
    best_rate = rate;
  }
  return best;
}

}  // namespace linebench::check
