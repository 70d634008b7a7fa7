// What the segment a fault comes in at says of the fault.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/text.hpp>
#include <linebench/judge/limits.hpp>

#include "follows.hpp"
#include "readings.hpp"
#include "site_state.hpp"

namespace linebench::check {
namespace {

// Whether a word of the part's name is one of the list's, which has commas between them.
bool named_by(const std::string& part, const std::string& list) {
  const std::string words = lower_case(list) + ",";
  std::string word;
  for (const char c : lower_case(part) + " ") {
    const auto u = static_cast<unsigned char>(c);
    if (u >= 0x80 || std::isalpha(u) != 0) {
      word += c;
      continue;
    }
    const auto at = word.empty() ? std::string::npos : words.find(word + ",");
    if (at != std::string::npos && (at == 0 || words[at - 1] == ' ' || words[at - 1] == ',')) return true;
    word.clear();
  }
  return false;
}

// Ten times the power, three times the amplitude: no part's own trace of hum or noise is taken for what comes
// in behind it.
constexpr double apart_db = 10, apart = 3;
// A place that is out of limits too, with a quarter of the power or less: most of it comes in behind it.
constexpr double most_behind_db = 6, most_behind = 2;

// How a place reads what is out of limits at the path's end.
enum class Beside { Less, Alike, Mixed };

Beside beside(const Reading& end, const Reading& here) {
  const bool fails = here.verdict == Verdict::Fail;
  const double db = fails ? most_behind_db : apart_db;
  const double ratio = fails ? most_behind : apart;
  const bool nothing = !here.measured() && here.at_most.has_value();
  const auto* value = std::get_if<double>(&here.value);
  const auto* at_end = std::get_if<double>(&end.value);
  if ((value == nullptr && !nothing) || at_end == nullptr) return fails ? Beside::Alike : Beside::Mixed;
  const double v = nothing ? *here.at_most : *value;
  const judge::Side side = judge::side(end);
  const bool decibels = end.unit.starts_with("dB");
  const bool less = side == judge::Side::High  ? (decibels ? v <= *at_end - db : v <= *at_end / ratio)
                    : side == judge::Side::Low ? !fails && decibels && v >= *at_end + db
                                               : false;
  return less ? Beside::Less : fails ? Beside::Alike : Beside::Mixed;
}

// What is out of limits here and is not at the end.
bool fails_otherwise(const job::Capture& here, const job::Capture& end) {
  return std::ranges::any_of(here.readings, [&](const Reading& r) {
    if (r.verdict != Verdict::Fail || follows_from_another(here, r)) return false;
    const Reading* at_end = find_reading(end.readings, r.id);
    return at_end == nullptr || at_end->verdict != Verdict::Fail;
  });
}

}  // namespace

std::optional<bool> wrong_as_at_end(const job::Capture& here, const job::Capture& end) {
  bool less = false, alike = false;
  for (const Reading& r : end.readings) {
    if (r.verdict != Verdict::Fail || follows_from_another(end, r)) continue;
    const Reading* other = find_reading(here.readings, r.id);
    const Beside is = other == nullptr ? Beside::Mixed : beside(r, *other);
    if (is == Beside::Mixed) return std::nullopt;
    (is == Beside::Less ? less : alike) = true;
  }
  if (less == alike || (less && fails_otherwise(here, end))) return std::nullopt;
  return alike;
}

std::optional<diagnose::Segment> segment_by_contrast(const SiteState& s) {
  if (s.at_part.empty() || s.at_part.back() == nullptr) return std::nullopt;
  std::vector<std::optional<double>> nothing_wrong_at;
  diagnose::Reaches reaches = diagnose::Reaches::Good;
  for (const job::Capture* c : s.at_part) {
    if (c == nullptr) {
      nothing_wrong_at.emplace_back();
      continue;
    }
    const auto wrong = wrong_as_at_end(*c, *s.at_part.back());
    if (!wrong) return std::nullopt;
    nothing_wrong_at.emplace_back(*wrong ? 0 : 1);
    // Clearly less of it there, and still out of its limits.
    if (!*wrong) reaches = c->verdict == "fail" ? diagnose::Reaches::Less : diagnose::Reaches::Good;
  }
  return diagnose::segment_of(s.path, nothing_wrong_at, reaches);
}

std::set<std::string> barred_places(const diagnose::SignalPath& path, const diagnose::Segment& segment,
                                    const Words& words) {
  std::set<std::string> barred;
  if (segment.between.empty()) return barred;
  if (segment.between.front() != path.parts.front().name) barred.insert("source");
  // The card that was clean at one place adds nothing at the next.
  if (!segment.after_part.empty()) barred.insert("recorder");
  // "Cable to the hub" is a cable; what has neither kind of word in its name may be either.
  const auto cable = [&](const std::string& part) { return named_by(part, words.text("site-cables")); };
  const bool units = std::ranges::all_of(segment.between, [&](const std::string& part) {
    return named_by(part, words.text("site-units")) && !cable(part);
  });
  if (units) barred.insert("cable");
  if (std::ranges::all_of(segment.between, cable)) {
    barred.insert("unit");
    if (barred.contains("source")) barred.insert("source or unit");
  }
  return barred;
}

bool names_one(const diagnose::Diagnosis& d) {
  return !d.findings.empty() && d.findings.front().probability >= std::max(d.unlisted, d.nothing_wrong);
}

std::string foreign_mains(const SiteState& s, const Words& words) {
  // A network stays within 1 % of its frequency, an island's within 2 % [EN 50160].
  constexpr double widest = 0.02;
  const job::Capture* end = s.at_end();
  if (end == nullptr || s.mains_hz == 0) return {};
  for (const Reading& r : end->readings) {
    if (!base_id(r.id).ends_with(".hum.frequency") || !r.measured()) continue;
    if (off_mains(r, s.mains_hz, widest))
      return words.text("site-foreign",
                        {{"hz", fmt::format("{:.1f}", r.number())}, {"mains", std::to_string(s.mains_hz)}});
  }
  return {};
}

}  // namespace linebench::check
