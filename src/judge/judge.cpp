#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/judge/shown.hpp>

namespace linebench::judge {
namespace {

// A limit on "audio.hum.harmonic.N" speaks of every harmonic, one on "audio.hum.level" of every channel.
bool speaks_of(const LimitEntry& entry, std::string_view id) {
  const ReadingKind* kind = find_kind(id);
  if (kind == nullptr) return false;
  if (kind->id == entry.id) return true;
  return id == entry.id || (id.starts_with(entry.id) && id.size() > entry.id.size() &&
                            id[entry.id.size()] == '.' && find_kind(entry.id) == kind);
}

void add_remark(Reading& r, const std::string& remark) {
  if (!r.reason.empty()) r.reason += "; ";
  r.reason += remark;
}

struct Bounds {
  std::optional<double> min;
  std::optional<double> max;
};

// Signed room left inside the bounds: negative when outside; +inf when there is none to keep.
double room(double v, const Bounds& b) {
  double left = std::numeric_limits<double>::infinity();
  if (b.min) left = std::min(left, v - *b.min);
  if (b.max) left = std::min(left, *b.max - v);
  return left;
}

// The mask at x: straight lines over log x. A bound holds only where both corners round x give one. Outside:
// none.
Bounds mask_at(const std::vector<MaskPoint>& mask, double x) {
  Bounds out;
  const auto tighten = [](std::optional<double>& have, std::optional<double> a, std::optional<double> b,
                          double t, bool lower) {
    if (!a || !b) return;
    const double v = *a + (*b - *a) * t;
    have = !have ? v : lower ? std::max(*have, v) : std::min(*have, v);
  };
  for (std::size_t i = 0; i + 1 < mask.size(); ++i) {
    const MaskPoint& a = mask[i];
    const MaskPoint& b = mask[i + 1];
    if (x < a.x || x > b.x || a.x >= b.x) continue;
    const double t = std::log(x / a.x) / std::log(b.x / a.x);
    tighten(out.min, a.min, b.min, t, true);
    tighten(out.max, a.max, b.max, t, false);
  }
  return out;
}

struct WorstPoint {
  double x = 0, y = 0, room = std::numeric_limits<double>::infinity(), uncertainty = 0;
  Bounds bounds;
  std::size_t judged = 0;
};

WorstPoint worst_point(const Reading& r) {
  WorstPoint worst;
  const Curve& c = r.curve();
  for (std::size_t i = 0; i < std::min(c.x.size(), c.y.size()); ++i) {
    if (!(c.x[i] > 0) || !std::isfinite(c.y[i])) continue;
    const Bounds bounds = mask_at(r.limit->mask, c.x[i]);
    const double left = room(c.y[i], bounds);
    if (!std::isfinite(left)) continue;
    ++worst.judged;
    if (left >= worst.room) continue;
    const double u = i < c.uncertainty.size() ? c.uncertainty[i] : r.uncertainty.value_or(0.0);
    worst = {c.x[i], c.y[i], left, u, bounds, worst.judged};
  }
  return worst;
}

// Third-octave points leave a gap of up to a third of an octave at the mask's ends; more than that was not
// measured.
bool spans_mask(const Reading& r) {
  const auto* c = std::get_if<Curve>(&r.value);
  if (c == nullptr || !r.limit || r.limit->mask.empty()) return true;
  const double lo = r.limit->mask.front().x;
  const double hi = r.limit->mask.back().x;
  double first = std::numeric_limits<double>::infinity();
  double last = 0;
  for (const double x : c->x) {
    if (x < lo || x > hi) continue;
    first = std::min(first, x);
    last = std::max(last, x);
  }
  constexpr double third_octave = 1.27;
  return first <= lo * third_octave && last >= hi / third_octave;
}

constexpr const char* either = "within its uncertainty of the limit: it could be either";

bool within_uncertainty(double left, const Reading& r) {
  return r.uncertainty && *r.uncertainty > 0 && std::abs(left) <= *r.uncertainty;
}

bool could_be_either(const Reading& r) {
  return r.limit && std::holds_alternative<double>(r.value) &&
         within_uncertainty(room(r.number(), {r.limit->min, r.limit->max}), r);
}

bool could_be_either(const WorstPoint& worst) {
  return worst.uncertainty > 0 && std::abs(worst.room) <= worst.uncertainty;
}

void judge_number(Reading& r) {
  const double left = room(r.number(), {r.limit->min, r.limit->max});
  r.verdict = left < 0 ? Verdict::Fail : Verdict::Pass;
  if (within_uncertainty(left, r)) add_remark(r, either);
}

void judge_curve(Reading& r) {
  const Curve& c = r.curve();
  const WorstPoint worst = worst_point(r);
  if (worst.judged == 0) {  // stays info, and missing() says that it is wanting
    add_remark(r, "no point of the curve lies inside the limit's band");
    return;
  }
  r.verdict = worst.room < 0 ? Verdict::Fail : Verdict::Pass;
  const bool low = worst.bounds.min && worst.y - *worst.bounds.min <= worst.room;
  add_remark(r, fmt::format("{} at {:.0f} {}: {:+.2f} {} against {} {:+.2f}",
                            worst.room < 0 ? "worst" : "nearest the limit", worst.x, c.x_unit, worst.y,
                            c.y_unit, low ? "min" : "max", low ? *worst.bounds.min : *worst.bounds.max));
  if (could_be_either(worst)) add_remark(r, either);
  if (!spans_mask(r)) {
    add_remark(r, fmt::format("only a part of {:.0f} to {:.0f} {} was measured", r.limit->mask.front().x,
                              r.limit->mask.back().x, c.x_unit));
  }
}

void judge_text(Reading& r) {
  const auto& words = r.limit->allowed;
  r.verdict = std::find(words.begin(), words.end(), r.text()) != words.end() ? Verdict::Pass : Verdict::Fail;
}

bool decibels(std::string_view unit) { return unit.starts_with("dB") || unit.starts_with("LU"); }

constexpr const char* no_programme =
    "its limit counts from the level of the programme, and no programme was measured with it";

double rounded(double v, double step) { return std::round(v / step) * step; }

// @return false where nothing says how loud the programme is.
bool count_from_programme(Limit& limit, std::string_view unit, std::optional<double> programme_dbfs) {
  if (!programme_dbfs) return false;
  const bool adds = decibels(unit);
  const double amplitude = amplitude_from_db(*programme_dbfs);
  const double farthest = limit.max ? *limit.max : *limit.min;
  for (std::optional<double>* bound : {&limit.min, &limit.max}) {
    if (*bound) *bound = adds ? rounded(**bound + *programme_dbfs, 0.1) : rounded(**bound * amplitude, 1e-5);
  }
  limit.source +=
      adds ? fmt::format("; {:.0f} dB under the programme, {:.1f} dBFS", -farthest, *programme_dbfs)
           : fmt::format("; {:.0f} % of the programme, {:.1f} dBFS", 100 * farthest, *programme_dbfs);
  return true;
}

void judge_reading(Reading& r, const LimitEntry& entry, const LimitSet& set,
                   std::optional<double> programme_dbfs) {
  Limit limit = entry.limit;
  if (entry.under_programme && !count_from_programme(limit, r.unit, programme_dbfs)) {
    add_remark(r, no_programme);
    return;
  }
  r.limit = std::move(limit);
  if (!r.measured()) return;
  const auto refuse = [&](const char* is, const char* give) {
    return unusable(fmt::format("limit set {}: {} is {}; give it {}", set.name, entry.id, is, give));
  };
  if (std::holds_alternative<double>(r.value)) {
    if (!entry.limit.min && !entry.limit.max) throw refuse("a number", "min or max");
    judge_number(r);
  } else if (std::holds_alternative<Curve>(r.value)) {
    if (entry.limit.mask.empty()) throw refuse("a curve", "a mask");
    judge_curve(r);
  } else {
    if (entry.limit.allowed.empty()) throw refuse("a word", "allowed = [...]");
    judge_text(r);
  }
}

bool wanting(const Reading& r, const LimitEntry& entry) {
  if (!r.measured()) return !shown_inside(r);
  if (entry.under_programme && !r.limit) return true;
  return !spans_mask(r);
}

constexpr const char* no_signal = "none";

bool is_signal(const Reading& r) {
  const ReadingKind* kind = find_kind(r.id);
  return kind != nullptr && kind->id == "audio.signal";
}

// What was sent must come back. Where nothing is known to be sent the capture may be of an idle path.
void judge_signal(Readings& readings, const Asked& asked) {
  if (asked.signal.empty()) return;
  for (Reading& r : readings) {
    if (!is_signal(r) || !r.measured() || claim_on(r.id, true, asked) != Claim::Required) continue;
    r.limit = Limit{std::nullopt, std::nullopt, {"present"}, {}, "common practice"};
    judge_text(r);
  }
}

std::optional<double> programme_of(const Readings& readings, const Asked& asked) {
  if (asked.programme_dbfs) return asked.programme_dbfs;
  const Reading* own = find_reading(readings, "audio.programme.level");
  return own != nullptr && own->measured() ? std::optional(own->number()) : std::nullopt;
}

// Another reading says the same better, or judges what was sent rather than who sends.
bool replaced(const LimitEntry& entry, const Readings& readings, const LimitSet& set, const Asked& asked) {
  const bool stood_in = !entry.unless.empty() && std::ranges::any_of(readings, [&](const Reading& r) {
    const ReadingKind* kind = find_kind(r.id);
    return kind != nullptr && kind->id == entry.unless && r.measured();
  });
  return stood_in ||
         (asked.level_known && entry.id == "audio.tone.level" &&
          std::ranges::any_of(set.entries, [](const LimitEntry& e) { return e.id == "audio.tone.gain"; }));
}

const LimitEntry* entry_of(const LimitSet& set, std::string_view id) {
  const auto it = std::ranges::find(set.entries, id, &LimitEntry::id);
  return it == set.entries.end() ? nullptr : &*it;
}

// The entry as this capture is judged by it; nothing where it is not. A tone that stands where nothing is
// sent is no signal that loses level: it is part of the noise, which is read without it.
std::optional<LimitEntry> as_asked(const LimitEntry& entry, const Readings& readings, const LimitSet& set,
                                   const Asked& asked) {
  if (replaced(entry, readings, set, asked)) return std::nullopt;
  if (!asked.idle || !of_a_tone(entry.id)) return entry;
  const LimitEntry* noise = entry_of(set, "audio.noise.a");
  if (noise == nullptr || entry.id != "audio.tone.level") return std::nullopt;
  LimitEntry standing = *noise;
  standing.id = entry.id;
  standing.required = false;
  return standing;
}

std::string not_asked_words(std::string_view id, const Asked& asked) {
  const bool unsent =
      std::ranges::any_of(asked.unsent, [&](const std::string& s) { return id.ends_with(s); });
  if (unsent) return "not asked: nothing was sent on this side";
  return asked.signal.empty() ? "not asked of this measurement"
                              : fmt::format("not asked of the signal {}", asked.signal);
}

double notches(double value, double bound, std::string_view unit) {
  constexpr double notch_db = 3.0;
  if (decibels(unit)) return std::abs(value - bound) / notch_db;
  // Doublings; where the bound is 0 (no clip at all) the count itself is the ratio to one.
  const double b = std::abs(bound) > 0 ? std::abs(bound) : 1.0;
  return std::log2(1.0 + std::abs(value - bound) / b);
}

constexpr double wrong_word_notches = 4.0;
// Dropouts, clipping and clicks spoil the steady readings of the whole capture: they are the cause, so they
// come first.
constexpr double event_notches = 20.0;

}  // namespace

std::string_view to_string(Overall v) {
  switch (v) {
    case Overall::Pass:
      return "pass";
    case Overall::Fail:
      return "fail";
    case Overall::Incomplete:
      return "incomplete";
  }
  return "incomplete";
}

bool shown_inside(const Reading& r) {
  return r.at_most && r.limit && r.limit->max && !r.limit->min && *r.at_most <= *r.limit->max;
}

void judge(Readings& readings, const LimitSet& set, const Asked& asked) {
  judge_signal(readings, asked);
  const std::optional<double> programme_dbfs = programme_of(readings, asked);
  for (const LimitEntry& written : set.entries) {
    const auto asks = as_asked(written, readings, set, asked);
    if (!asks) continue;
    const LimitEntry& entry = *asks;
    bool found = false;
    for (Reading& r : readings) {
      if (!speaks_of(entry, r.id)) continue;
      found = true;
      if (by_design(r.id, asked)) continue;
      judge_reading(r, entry, set, programme_dbfs);
      if (entry.required && !r.measured() && claim_on(r.id, true, asked) == Claim::NotAsked)
        add_remark(r, not_asked_words(r.id, asked));
    }
    const ReadingKind* kind = find_kind(entry.id);
    if (found || kind == nullptr || claim_on(entry.id, entry.required, asked) != Claim::Required) continue;
    Reading absent = unmeasurable(entry.id, "this measurement of this capture does not give it");
    absent.limit = entry.limit;
    readings.push_back(std::move(absent));
  }
}

std::vector<std::string> missing(const Readings& readings, const LimitSet& set, const Asked& asked) {
  std::vector<std::string> ids;
  for (const Reading& r : readings) {
    if (is_signal(r) && r.verdict == Verdict::Info && r.measured() && r.text() == no_signal &&
        claim_on(r.id, true, asked) == Claim::Required) {
      ids.push_back(r.id);
    }
  }
  for (const LimitEntry& written : set.entries) {
    const auto asks = as_asked(written, readings, set, asked);
    if (!asks) continue;
    const LimitEntry& entry = *asks;
    bool found = false;
    for (const Reading& r : readings) {
      if (!speaks_of(entry, r.id)) continue;
      found = true;
      if (claim_on(r.id, entry.required, asked) == Claim::Required && wanting(r, entry)) ids.push_back(r.id);
    }
    if (!found && claim_on(entry.id, entry.required, asked) == Claim::Required) ids.push_back(entry.id);
  }
  return ids;
}

Overall overall(const Readings& readings, const LimitSet& set, const Asked& asked) {
  const bool failed = std::any_of(readings.begin(), readings.end(),
                                  [](const Reading& r) { return r.verdict == Verdict::Fail; });
  if (failed) return Overall::Fail;
  return missing(readings, set, asked).empty() ? Overall::Pass : Overall::Incomplete;
}

Side side(const Reading& r) {
  if (r.verdict != Verdict::Fail || !r.limit) return Side::Inside;
  if (std::holds_alternative<double>(r.value)) {
    return r.limit->min && r.number() < *r.limit->min ? Side::Low : Side::High;
  }
  if (std::holds_alternative<Curve>(r.value)) {
    const WorstPoint w = worst_point(r);
    return w.bounds.min && w.y < *w.bounds.min ? Side::Low : Side::High;
  }
  return Side::Other;
}

double severity(const Reading& r) {
  const Side where = side(r);
  if (where == Side::Inside) return 0;
  if (is_signal(r)) return 2 * event_notches;  // without a signal nothing else means anything
  if (where == Side::Other || r.id.find("polarity") != std::string::npos) return wrong_word_notches;
  if (std::holds_alternative<Curve>(r.value)) {
    const WorstPoint w = worst_point(r);
    return notches(w.y, where == Side::Low ? *w.bounds.min : *w.bounds.max, r.curve().y_unit);
  }
  const double beyond = notches(r.number(), where == Side::Low ? *r.limit->min : *r.limit->max, r.unit);
  const auto is = [&](std::string_view id) { return r.id.starts_with(id); };
  const bool event =
      is("audio.dropout.") || is("audio.crackle.") || is("audio.clip.samples") || is("audio.click.");
  return event ? event_notches + beyond : beyond;
}

bool near_its_limit(const Reading& r) { return r.verdict == Verdict::Pass && could_be_either(r); }

bool fails_in_doubt(const Reading& r) {
  return r.verdict == Verdict::Fail &&
         (std::holds_alternative<Curve>(r.value) ? could_be_either(worst_point(r)) : could_be_either(r));
}

bool fails_beyond_doubt(const Reading& r) {
  return r.verdict == Verdict::Fail && std::holds_alternative<double>(r.value) && !could_be_either(r);
}

}  // namespace linebench::judge
