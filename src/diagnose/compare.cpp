#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/diagnose/compare.hpp>
#include <map>

#include "gather.hpp"

namespace linebench::diagnose {
namespace {

// How far (k=2) a reading wanders between two captures of a path that nobody touched: the project's
// estimates. The mains, the weather and who else talks all move. First match wins; units are the reading's.
struct Wander {
  std::string_view prefix;
  double absolute, share;  // in the unit; of the value
};
constexpr Wander wanders[] = {
    {"audio.hum.frequency", 0.06, 0},
    {"video.hum.frequency", 0.06, 0},
    {"picture.hum.frequency", 0.06, 0},
    {"audio.hum", 2.0, 0},
    {"audio.noise", 0.6, 0},
    {"audio.tone.frequency", 0, 2e-6},
    {"audio.tone", 0.05, 0},
    {"audio.level.peak", 1.5, 0},  // of noise and speech: another take has another highest sample
    {"audio.level.crest", 1.5, 0},
    {"audio.level", 0.3, 0},
    {"audio.whistle.frequency", 0.2, 0},
    {"audio.whistle", 1.0, 0},
    {"audio.whine.frequency", 1, 0},
    {"audio.whine", 1.0, 0},
    {"audio.phone_burst.rate", 0.1, 0},
    {"audio.phone_burst", 4.0, 0},
    {"audio.loudness", 1.5, 0},
    {"audio.thd", 0, 0.1},
    {"audio.snr", 0.8, 0},
    {"audio.true_peak", 1.5, 0},
    {"audio.response.echo", 1.0, 0},
    {"audio.response.delay", 1e-4, 0},
    {"audio.response", 0.2, 0},
    {"audio.sti", 0.02, 0},
    {"audio.pair.delay", 2e-6, 0},
    {"audio.pair", 0.3, 0},
    {"video.hum", 0.5, 0.3},
    {"picture.hum", 0.1, 0.3},
    {"video.noise", 0.1, 0.15},
    {"picture.noise", 0.1, 0.15},
    {"video.echo.level", 1.0, 0},
    {"video.line.frequency", 0.05, 0},
    {"video.field.frequency", 0.06, 0},  // of a source that follows the mains
    {"video.lines_per_frame", 0, 0},     // counted
    {"video.burst.frequency", 2, 0},
    {"video.apl", 3, 0},
    {"video.", 0, 0.01},
    {"picture.", 0, 0.02},
};

double wander(const std::string& id, double value) {
  for (const Wander& w : wanders) {
    if (id.starts_with(w.prefix)) return w.absolute + w.share * std::abs(value);
  }
  return 0;
}

bool is_count(const std::string& id) {
  return id.ends_with(".count") || id.find(".count.") != std::string::npos ||
         id.find(".samples") != std::string::npos || id.find(".missing") != std::string::npos ||
         id.find(".frames.") != std::string::npos;
}

std::string shown(double v, const std::string& unit) {
  const double size = std::abs(v);
  const int decimals = size >= 1000 ? 0 : size >= 100 ? 1 : size >= 1 ? 2 : 4;
  if (size < 0.5 * std::pow(10.0, -decimals)) v = 0;  // and not -0.0000
  return fmt::format("{:.{}f}{}{}", v, decimals, unit.empty() ? "" : " ", unit);
}

void judge_difference(ReadingChange& c) {
  const double size = std::abs(c.difference);
  // k=2 uncertainties: beyond one of them 95 %, beyond one and a half 99.7 %.
  c.certainty = size > 1.5 * c.uncertainty ? Certainty::Certain
                : size > c.uncertainty     ? Certainty::Likely
                                           : Certainty::Unsure;
  c.change = c.certainty == Certainty::Unsure || size == 0 ? Change::Same
             : c.difference > 0                            ? Change::More
                                                           : Change::Less;
}

// Events of two captures of different length, a minute.
ReadingChange counts(const Reading& b, const Reading& a, double before_s, double after_s) {
  ReadingChange c{b.id, b.label, "a minute", "", "", 0, 0, Change::Same, Certainty::Unsure, ""};
  const double n = b.number();
  const double m = a.number();
  c.before = fmt::format("{:.0f} in {:.0f} s", n, before_s);
  c.after = fmt::format("{:.0f} in {:.0f} s", m, after_s);
  c.difference = 60 * (m / after_s - n / before_s);
  c.uncertainty =
      120 * std::hypot(std::sqrt(std::max(n, 1.0)) / before_s, std::sqrt(std::max(m, 1.0)) / after_s);
  judge_difference(c);
  return c;
}

std::optional<ReadingChange> numbers(const Reading& b, const Reading& a) {
  const auto* before = std::get_if<double>(&b.value);
  const auto* after = std::get_if<double>(&a.value);
  ReadingChange c{b.id, b.label, b.unit, "", "", 0, 0, Change::Same, Certainty::Unsure, ""};
  if (before != nullptr && after != nullptr) {
    c.before = shown(*before, b.unit);
    c.after = shown(*after, a.unit);
    c.difference = *after - *before;
    const double counted = is_count(b.id) ? 2 * std::sqrt(std::max(1.0, *before + *after)) : 0;
    c.uncertainty =
        std::sqrt(std::pow(b.uncertainty.value_or(0), 2) + std::pow(a.uncertainty.value_or(0), 2) +
                  std::pow(std::max(counted, wander(b.id, *before)), 2));
    judge_difference(c);
    return c;
  }
  // Found in one, and in the other below a bound: the difference is at least that to the bound.
  if (before != nullptr && a.at_most && *before > *a.at_most) {
    c.before = shown(*before, b.unit);
    c.after = "below " + shown(*a.at_most, b.unit);
    c.difference = *a.at_most - *before;
    c.uncertainty = std::hypot(b.uncertainty.value_or(0), wander(b.id, *before));
    c.remark = "at least";
    judge_difference(c);
    return c;
  }
  if (after != nullptr && b.at_most && *after > *b.at_most) {
    c.before = "below " + shown(*b.at_most, b.unit);
    c.after = shown(*after, a.unit);
    c.difference = *after - *b.at_most;
    c.uncertainty = std::hypot(a.uncertainty.value_or(0), wander(b.id, *after));
    c.remark = "at least";
    judge_difference(c);
    return c;
  }
  return std::nullopt;
}

std::optional<ReadingChange> curves(const Reading& b, const Reading& a) {
  const Curve& x = b.curve();
  const Curve& y = a.curve();
  double most = 0;
  double at = 0;
  for (std::size_t i = 0; i < x.x.size(); ++i) {
    for (std::size_t k = 0; k < y.x.size(); ++k) {
      if (std::abs(x.x[i] - y.x[k]) > 1e-6 * std::abs(x.x[i])) continue;
      const double d = y.y[k] - x.y[i];
      if (std::isfinite(d) && std::abs(d) > std::abs(most)) {
        most = d;
        at = x.x[i];
      }
    }
  }
  if (b.id.find(".times") != std::string::npos || x.x.empty() || at == 0) return std::nullopt;
  ReadingChange c{b.id, b.label, b.unit, "curve", "curve", most, 0, Change::Same, Certainty::Unsure, ""};
  c.uncertainty =
      std::hypot(std::hypot(b.uncertainty.value_or(0.3), a.uncertainty.value_or(0.3)), wander(b.id, most));
  c.remark = fmt::format("most at {:.4g} {}", at, x.x_unit);
  judge_difference(c);
  return c;
}

std::optional<ReadingChange> change_of(const Reading& b, const Reading& a, double before_s, double after_s) {
  const bool both = std::holds_alternative<double>(b.value) && std::holds_alternative<double>(a.value);
  if (both && is_count(b.id) && before_s > 0 && after_s > 0) return counts(b, a, before_s, after_s);
  if (std::holds_alternative<std::string>(b.value) && std::holds_alternative<std::string>(a.value)) {
    const bool same = b.text() == a.text();
    return ReadingChange{b.id,
                         b.label,
                         "",
                         b.text(),
                         a.text(),
                         0,
                         0,
                         same ? Change::Same : Change::Other,
                         same ? Certainty::Unsure : Certainty::Certain,
                         ""};
  }
  if (std::holds_alternative<Curve>(b.value) && std::holds_alternative<Curve>(a.value)) return curves(b, a);
  return numbers(b, a);
}

double strength(const ReadingChange& c) {
  if (c.change == Change::Same) return -1;
  if (c.change == Change::Other) return 20;
  return c.uncertainty > 0 ? std::abs(c.difference) / c.uncertainty : 1000;
}

// No cure takes that much of what still comes (the project's estimate).
constexpr double lost_db = 20;
// A tone or a sync that is weaker by this brings less of everything with it.
constexpr double weaker_db = 3;

std::optional<double> number_of(const Capture& c, const std::string& id) {
  const Reading* r = find_reading(c.readings, id);
  return r != nullptr && r->measured() ? std::optional(r->number()) : std::nullopt;
}

// What was there beside hum and noise, and is not any more.
bool programme_lost(const Capture& before, const Capture& after, const std::string& suffix) {
  const auto was = number_of(before, "audio.level.rms" + suffix);
  const auto is = number_of(after, "audio.level.rms" + suffix);
  if (!was || !is || *is > *was - lost_db) return false;
  constexpr double stands_out_db = 6;
  for (const char* id : {"audio.hum.level", "audio.noise.unweighted"}) {
    if (const auto beside = number_of(before, id + suffix); beside && *was < *beside + stands_out_db)
      return false;
  }
  return true;
}

// A fault that went with the signal is not gone. `by_level`: the fault before was itself one of level.
std::string lost_signal(const Capture& before, const Capture& after, bool by_level) {
  constexpr const char* falls_too = "and what came with it falls too";
  if (nothing_came_in(after) && !nothing_came_in(before))
    return "Nothing comes in any more: every sample of the second capture is the same";
  for (const Reading& b : before.readings) {
    if (!b.id.starts_with("audio.level.rms") || !b.measured()) continue;
    const std::string suffix = b.id.substr(std::string_view("audio.level.rms").size());
    const std::string channel = suffix.empty() ? "" : " (" + suffix.substr(1) + ")";
    if (const auto tone = number_of(before, "audio.tone.level" + suffix)) {
      const auto now = number_of(after, "audio.tone.level" + suffix);
      const double left = now ? *now : number_of(after, b.id).value_or(-200);
      if (left < *tone - lost_db)
        return fmt::format("The tone that came at {:.1f} dBFS{} comes no more, or far weaker", *tone,
                           channel);
      if (now && *now < *tone - weaker_db && !by_level)
        return fmt::format("The tone{} fell by {:.1f} dB, {}", channel, *tone - *now, falls_too);
    } else if (programme_lost(before, after, suffix)) {
      return fmt::format(
          "The signal that came at {:.1f} dBFS{} comes no more, or far weaker: {:.1f} dB less is left",
          b.number(), channel, b.number() - number_of(after, b.id).value_or(-200));
    }
  }
  const auto sync = number_of(before, "video.sync.amplitude"),
             left = number_of(after, "video.sync.amplitude");
  if (sync && left && *sync > 0 && *left > 0 && !by_level)
    if (const double fell = db_from_amplitude(*sync / *left); fell > weaker_db)
      return fmt::format("Sync fell by {:.1f} dB, {}", fell, falls_too);
  return {};
}

// Channels as their ids' suffixes show them.
std::size_t channels_of(const Capture& c) {
  if (c.facts.channels > 0) return static_cast<std::size_t>(c.facts.channels);
  return suffixes_of(c).size();
}

bool of_sound(const Capture& c) {
  return std::ranges::any_of(c.readings, [](const Reading& r) { return r.id.starts_with("audio."); });
}

std::string caveat_of(const Capture& before, const Capture& after) {
  if (one_and_the_same(before, after))
    return "Both are one and the same capture: every figure is equal. Give the one taken after.";
  const std::size_t b = channels_of(before);
  const std::size_t a = channels_of(after);
  if (of_sound(before) && of_sound(after) && b != a)
    return fmt::format(
        "The first has {} channel{}, the second {}: their readings cannot be set against each other. Record "
        "both "
        "with the same channels.",
        b, b == 1 ? "" : "s", a);
  return {};
}

// What a sign of the book is called among the readings: "audio.hum.odd" is of "audio.hum".
std::string topic_of(const std::string& id) {
  if (id == "audio.level.tone" || id == "audio.level.step") return "audio.tone";
  const auto first = id.find('.');
  const auto second = first == std::string::npos ? first : id.find('.', first + 1);
  return id.substr(0, second);
}

// A part of another reading, or what only describes one: a person asks for the whole.
bool detail(const std::string& id) {
  return id.find(".harmonic.") != std::string::npos || id.find(".frequency") != std::string::npos ||
         id.find(".kind") != std::string::npos;
}

// The change that concerns the faults of before or after; else the strongest.
const ReadingChange* leading(const Comparison& c, const Diagnosis& before, const Diagnosis& after) {
  const auto first = [&](auto concerns) -> const ReadingChange* {
    const ReadingChange* part = nullptr;
    for (const ReadingChange& x : c.changes) {
      if (x.change == Change::Same || !concerns(x)) continue;
      if (!detail(x.id)) return &x;
      if (part == nullptr) part = &x;
    }
    return part;
  };
  // Of another system all levels and times are others.
  for (const char* system : {"video.system", "picture.system"}) {
    const auto other = std::ranges::find_if(
        c.changes, [&](const ReadingChange& x) { return x.id == system && x.change != Change::Same; });
    if (other != c.changes.end()) return &*other;
  }
  for (const Diagnosis* d : {&before, &after}) {
    if (d->findings.empty() || d->findings.front().probability < 0.2) continue;
    for (const Bearing& b : d->findings.front().evidence_for) {
      const auto of_it = [&](const ReadingChange& x) { return topic_of(x.id) == topic_of(b.sign); };
      if (const ReadingChange* x = first(of_it)) return x;
    }
  }
  return first([](const ReadingChange&) { return true; });
}

// The finding before rests on this kind of reading.
bool rests_on(const Diagnosis& d, const auto& of_kind) {
  return !d.findings.empty() && d.findings.front().probability >= 0.2 &&
         std::ranges::any_of(d.findings.front().evidence_for, of_kind);
}

// What the fault before was seen by and the second capture could not show, as it is said of it there.
const Reading* hidden_after(const Diagnosis& before, const Capture& x, const Capture& y) {
  for (const Reading& b : x.readings) {
    const Reading* a = find_reading(y.readings, b.id);
    const auto* was = std::get_if<double>(&b.value);
    if (was == nullptr || detail(b.id) || a == nullptr || a->measured()) continue;
    if (a->at_most && *a->at_most < *was) continue;
    if (rests_on(before, [&](const Bearing& e) { return topic_of(e.sign) == topic_of(b.id); })) return &b;
  }
  return nullptr;
}

std::string done(const Comparison& c) { return c.did.empty() ? "what was done" : "\"" + c.did + "\""; }

std::string summary_of(const Comparison& c, const Diagnosis& before, const Diagnosis& after) {
  const ReadingChange* first = leading(c, before, after);
  const std::string did = done(c);
  if (!c.caveat.empty()) return c.caveat;
  const bool nothing = c.nothing_before > 0.5 && c.nothing_after > 0.5;
  if (first == nullptr)
    return fmt::format(
        "Nothing changed beyond what two captures of an untouched path differ by: {}.",
        nothing ? "there was no fault before, and there is none now" : did + " did not reach the fault");
  std::string s = fmt::format("{}: {} -> {}", first->label, first->before, first->after);
  if (shown_sound(after) && c.nothing_before < 0.5) {
    s += fmt::format(". The fault is gone after {}.", did);
  } else if (c.nothing_after > 0.5 && c.nothing_before < 0.5) {
    s +=
        fmt::format(". Whether the fault is gone after {} cannot be told: {}.", did, after.gaps.front().text);
  } else if (nothing) {
    s += ". No fault before, and none after.";
  } else if (!c.faults.empty() && std::abs(c.faults.front().after - c.faults.front().before) > 0.2) {
    const ProbabilityChange& f = c.faults.front();
    s += fmt::format(". {} went from {:.0f} to {:.0f} % after {}.", f.label, 100 * f.before, 100 * f.after,
                     did);
  } else {
    s += fmt::format(". The ranking of faults hardly moved after {}.", did);
  }
  return s;
}

}  // namespace

Comparison compare(const FaultBook& book, const Capture& before, const Capture& after, const std::string& did,
                   const Site& site) {
  Comparison c;
  c.before_name = before.name;
  c.after_name = after.name;
  c.did = did;
  for (const Reading& b : before.readings) {
    const Reading* a = find_reading(after.readings, b.id);
    if (a == nullptr) continue;
    if (auto change = change_of(b, *a, before.facts.duration_s(), after.facts.duration_s()))
      c.changes.push_back(std::move(*change));
  }
  std::stable_sort(c.changes.begin(), c.changes.end(),
                   [](const ReadingChange& x, const ReadingChange& y) { return strength(x) > strength(y); });
  Options options;
  options.next_tests = false;
  const Diagnosis x = diagnose(book, gather(book, {before}, site), options);
  const Diagnosis y = diagnose(book, gather(book, {after}, site), options);
  c.nothing_before = x.nothing_wrong;
  c.nothing_after = y.nothing_wrong;
  const std::map<std::string, double> now(y.ranking.begin(), y.ranking.end());
  for (const auto& [fault, p] : x.ranking)
    c.faults.push_back({fault, book.fault(fault)->label, p, now.at(fault)});
  std::stable_sort(c.faults.begin(), c.faults.end(), [](const auto& p, const auto& q) {
    return std::abs(p.after - p.before) > std::abs(q.after - q.before);
  });
  c.caveat = caveat_of(before, after);
  const auto level = [](const Bearing& b) {
    return b.sign.starts_with("audio.level.") || b.sign == "audio.response.gain" ||
           b.sign == "video.sync.level";
  };
  if (const std::string lost = lost_signal(before, after, rests_on(x, level));
      c.caveat.empty() && !lost.empty())
    c.caveat =
        fmt::format("{}. Whether the fault went after {} cannot be told: check the cable and what is sent.",
                    lost, done(c));
  if (const Reading* hidden = hidden_after(x, before, after); c.caveat.empty() && hidden != nullptr) {
    const Reading& blind = *find_reading(after.readings, hidden->id);
    c.caveat = fmt::format(
        "{} was {}; the second capture does not show it: {}. Whether the fault went after {} cannot be told.",
        hidden->label, shown(hidden->number(), hidden->unit), blind.reason, done(c));
  }
  c.summary = summary_of(c, x, y);
  return c;
}

}  // namespace linebench::diagnose
