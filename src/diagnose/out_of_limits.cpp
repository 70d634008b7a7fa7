// Readings that are out of their limits and that no sign of the book is about, or that nothing found accounts
// for: what the book cannot weigh, or takes for usual, does not count as sound.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/catalogue.hpp>
#include <linebench/judge/limits.hpp>

#include "gather.hpp"
#include "model.hpp"

namespace linebench::diagnose {
namespace {

bool is_about(const Sign& s, std::string_view base) {
  return s.id == base || std::ranges::find(s.reads, base) != s.reads.end();
}

std::string_view base_of(std::string_view id) {
  const ReadingKind* kind = find_kind(id);
  return kind != nullptr ? kind->id : id;
}

bool spoken_of(const FaultBook& book, std::string_view id) {
  return std::ranges::any_of(book.signs, [base = base_of(id)](const Sign& s) { return is_about(s, base); });
}

// A level has a nominal by the standard, and the book's spread of sound sources may reach past its tolerance;
// of hum, noise and the like the book says itself what is usual.
bool has_nominal(const FaultBook& book, std::string_view id) {
  return std::ranges::any_of(book.signs, [base = base_of(id)](const Sign& s) {
    return s.scale == Scale::Shift && is_about(s, base);
  });
}

// A fault that may well be there has it among what speaks for it.
bool accounted_for(const FaultBook& book, const Diagnosis& d, std::string_view id) {
  constexpr double may_well_be = 0.2;
  const std::string_view base = base_of(id);
  return std::ranges::any_of(d.findings, [&](const Finding& f) {
    return f.probability >= may_well_be && std::ranges::any_of(f.evidence_for, [&](const Bearing& b) {
             return is_about(*book.sign(b.sign), base);
           });
  });
}

// The limits that a view has whatever it is used for; empty: it has none, as sound has not.
std::string usual_limits(const Capture& c, const Site& site) {
  constexpr double whole_band_hz = 5e6;  // fewer samples a second show a composite signal's low band alone
  if (find_reading(c.readings, "picture.signal") != nullptr) return "picture";
  const std::string system = text_of(c.readings, "video.system").value_or("");
  if (system.empty() || c.facts.sample_rate_hz < whole_band_hz) return {};
  if (system.starts_with("625")) return "composite-625";
  return site.system == "525-no-setup" ? "composite-525-no-setup" : "composite-525";
}

// As it was judged; else by the limits of its view.
Readings judged(const Capture& c, const Site& site) {
  const auto has_limit = [](const Reading& r) { return r.limit.has_value(); };
  const std::string set = usual_limits(c, site);
  if (set.empty() || std::ranges::any_of(c.readings, has_limit)) return c.readings;
  Readings out = c.readings;
  judge::judge(out, judge::load_limit_set(set));
  return out;
}

std::string size_of(const Reading& r) {
  if (const auto* text = std::get_if<std::string>(&r.value)) return *text;
  if (!std::holds_alternative<double>(r.value)) return {};
  const ReadingKind* kind = find_kind(r.id);
  const int decimals = kind != nullptr ? kind->decimals : 2;
  return fmt::format("{:.{}f}{}{}", r.number(), decimals, r.unit.empty() ? "" : " ", r.unit);
}

}  // namespace

std::vector<std::string> out_of_limits(const FaultBook& book, const std::vector<Capture>& captures,
                                       const Site& site, const Diagnosis& found) {
  std::vector<std::string> out;
  const bool sound = shown_sound(found);
  for (const Capture& c : captures) {
    for (const Reading& r : judged(c, site)) {
      if (r.verdict != Verdict::Fail) continue;
      const bool spoken = spoken_of(book, r.id);
      if (spoken && (!sound || !has_nominal(book, r.id) || accounted_for(book, found, r.id))) continue;
      const std::string size = size_of(r);
      out.push_back(fmt::format("{} is out of its limit{}, {}, and no fault {}", r.label,
                                size.empty() ? "" : ": " + size, c.name,
                                spoken ? "found accounts for it" : "of the book speaks of it"));
    }
  }
  return out;
}

}  // namespace linebench::diagnose
