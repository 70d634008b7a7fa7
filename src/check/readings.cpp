#include "readings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/check/soak.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/report/format.hpp>

#include "follows.hpp"

namespace linebench::check {
namespace {

std::string value_text(const Reading& r) {
  const report::Shown s = report::show_value(r);
  return s.unit.empty() ? s.value : s.value + " " + s.unit;
}

double beyond_limit(const job::Capture& c, const Reading& r) {
  const auto* value = std::get_if<double>(&r.value);
  if (value == nullptr || !r.limit) return 0;
  const double v = once_right(c, r).value_or(*value);
  if (r.limit->max && v > *r.limit->max) return v - *r.limit->max;
  if (r.limit->min && v < *r.limit->min) return *r.limit->min - v;
  return 0;
}

double to_middle(const job::Capture& c, const Reading& r) {
  const auto* v = std::get_if<double>(&r.value);
  if (v == nullptr || !r.limit || !r.limit->min || !r.limit->max) return beyond_limit(c, r);
  return std::abs(*v - (*r.limit->min + *r.limit->max) / 2);
}

std::string direction_of(const job::Capture& c, const Reading& r) {
  if (sync_alone(c, r)) return judge::side(r) == judge::Side::Low ? "low-alone" : "high-alone";
  switch (judge::side(r)) {
    case judge::Side::High:
      return "high";
    case judge::Side::Low:
      return "low";
    default:
      return "other";
  }
}

}  // namespace

std::string_view base_id(std::string_view id) {
  const ReadingKind* kind = find_kind(id);
  return kind == nullptr ? id : kind->id;
}

bool bounded_within(const Reading& r) {
  return !r.measured() && r.at_most && r.limit && r.limit->max && *r.at_most <= *r.limit->max;
}

std::vector<Trouble> troubles(const job::Capture& c) {
  std::vector<Trouble> out;
  for (const Reading& r : c.readings) {
    if (r.verdict != Verdict::Fail || follows_from_another(c, r)) continue;
    const std::string limit = report::show_limit(r);
    Trouble t;
    t.id = base_id(r.id);
    t.direction = direction_of(c, r);
    t.side = judge::side(r);
    t.value = value_text(r);
    t.beyond = beyond_limit(c, r);
    t.to_middle = to_middle(c, r);
    t.severity = judge::severity(r);
    t.side_left = r.id.ends_with(".left");
    t.side_right = r.id.ends_with(".right");
    t.doubtful = judge::fails_in_doubt(r);
    t.text = fmt::format("{}: {} (limit {})", r.label, t.value, limit);
    for (const Reading* with : levels_with(c, r)) {
      t.text += fmt::format("; {}: {}", with->label, value_text(*with));
      t.all_levels = true;
    }
    // What is gone for good counts as one.
    if (t.id == "audio.dropout.count" && !r.reason.empty()) t.text += ": " + r.reason;
    const auto same = std::find_if(out.begin(), out.end(), [&](const Trouble& x) {
      return x.id == t.id && x.direction == t.direction && (t.side_left || t.side_right);
    });
    if (same == out.end()) {
      out.push_back(std::move(t));
      continue;
    }
    same->text += fmt::format("; {}: {}", r.label, t.value);
    same->side_left = same->side_left || t.side_left;
    same->side_right = same->side_right || t.side_right;
    same->doubtful = same->doubtful && t.doubtful;
    if (t.severity > same->severity) same->value = t.value;
    same->beyond = std::max(same->beyond, t.beyond);
    same->to_middle = std::max(same->to_middle, t.to_middle);
    same->severity = std::max(same->severity, t.severity);
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const Trouble& a, const Trouble& b) { return a.severity > b.severity; });
  return out;
}

bool off_mains(const Reading& frequency, int mains_hz, double share) {
  // A comb of twice the mains may be all that is left of it.
  const double order = std::max(1.0, std::round(frequency.number() / mains_hz));
  const double off =
      std::abs(frequency.number() / order - mains_hz) - frequency.uncertainty.value_or(0) / order;
  return off > share * mains_hz;
}

report::Words words_of(const Trouble& t) {
  return t.all_levels ? report::words_of_all_levels(t.side) : report::words_for(t.id, t.side);
}

std::string times_of(const job::Capture& run, const Trouble& t, const Words& words) {
  constexpr std::size_t most = 3;
  const std::string stem = t.id.ends_with(".count") ? t.id.substr(0, t.id.size() - 6) : t.id;
  std::vector<std::pair<std::string, std::string>> sides;  // side, its times
  for (const Reading& r : run.readings) {
    const std::string_view id = base_id(r.id);
    if (id == stem + ".time" && r.measured()) return soak_time(r.number());
    const auto* curve = std::get_if<Curve>(&r.value);
    if (id != stem + ".times" || curve == nullptr) continue;
    std::vector<std::string> times;
    for (std::size_t i = 0; i < std::min(most, curve->x.size()); ++i) times.push_back(soak_time(curve->x[i]));
    sides.emplace_back(r.id.size() > id.size() ? r.id.substr(id.size() + 1) : "",
                       fmt::format("{}{}", fmt::join(times, ", "), curve->x.size() > most ? ", ..." : ""));
  }
  if (sides.empty()) return {};
  const bool alike =
      std::ranges::all_of(sides, [&](const auto& side) { return side.second == sides.front().second; });
  if (alike) return sides.front().second;
  std::vector<std::string> each;
  for (const auto& [side, times] : sides) {
    const bool named = side == "left" || side == "right";  // else "ch3"
    each.push_back(fmt::format("{} {}", named ? words.text("side-" + side) : side, times));
  }
  return fmt::format("{}", fmt::join(each, "; "));
}

std::string colourless(const job::Capture& c) {
  const auto says = [&](const char* id, std::string_view word) {
    const Reading* r = find_reading(c.readings, id);
    return r != nullptr && r->measured() && r->text() == word;
  };
  const Reading* burst = find_reading(c.readings, "video.burst.amplitude");
  if (says("video.signal", "present") && burst != nullptr && !burst->measured()) return "waveform";
  if (says("picture.signal", "present") && says("picture.colour", "none")) return "frames";
  return {};
}

std::vector<diagnose::Gap> beyond_the_look(std::vector<diagnose::Gap> gaps,
                                           const std::vector<CaptureFacts>& captures) {
  const bool looked = std::any_of(captures.begin(), captures.end(), [](const CaptureFacts& f) {
    return f.kind == "frames" && f.duration_s() >= 0.98 * picture_look_s;
  });
  if (looked) std::erase_if(gaps, [](const diagnose::Gap& g) { return g.sign.starts_with("picture.hum"); });
  return gaps;
}

std::vector<Gap> folded(const std::vector<Gap>& gaps) {
  std::vector<Gap> out;
  for (const Gap& g : gaps) {
    const auto same =
        std::find_if(out.begin(), out.end(), [&](const Gap& x) { return x.reason == g.reason; });
    if (same == out.end()) {
      out.push_back(g);
    } else {
      same->label += "; " + g.label;
    }
  }
  return out;
}

std::vector<Gap> gaps(const job::Capture& c) {
  std::vector<Gap> out;
  for (const std::string& id : c.missing) {
    const Reading* r = find_reading(c.readings, id);
    const std::string base(base_id(id));
    const auto same = std::ranges::find_if(out, [&](const Gap& g) { return g.id == base; });
    if (same != out.end()) {
      same->label = label_of(base);  // of no side alone
      continue;
    }
    out.push_back({base, r != nullptr ? r->label : label_of(id), r != nullptr ? r->reason : ""});
  }
  return out;
}

}  // namespace linebench::check
