// What a person saw or metered, as typed.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/text.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <optional>

namespace linebench::diagnose {
namespace {

struct Quantity {
  double value = 0;
  std::string unit;
};

// "11.2 V", "0,4 ohm", "3kohm". Nothing when it does not begin with a number.
std::optional<Quantity> quantity(std::string text) {
  text = trimmed(text);
  std::replace(text.begin(), text.end(), ',', '.');
  double value = 0;
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  const auto [end, error] = std::from_chars(begin, text.data() + text.size(), value);
  if (error != std::errc() || !std::isfinite(value)) return std::nullopt;
  return Quantity{value,
                  trimmed(std::string_view(end, static_cast<std::size_t>(text.data() + text.size() - end)))};
}

// Factor from a typed unit to the one the sign is kept in; nothing when it is another kind of unit.
std::optional<double> factor(std::string unit, const std::string& wanted) {
  if (unit == "\u03a9" || unit == "\u2126") unit = "ohm";
  if (unit.ends_with("\u03a9")) unit = unit.substr(0, unit.size() - 2) + "ohm";
  if (unit == "ohms") unit = "ohm";
  if (unit.empty() || unit == wanted) return 1.0;
  const auto split = [](const std::string& u) -> std::pair<double, std::string> {
    if (u.size() > 1 && u != "ohm") {
      if (u[0] == 'm') return {1e-3, u.substr(1)};
      if (u[0] == 'k') return {1e3, u.substr(1)};
      if (u[0] == 'M') return {1e6, u.substr(1)};
    }
    return {1.0, u};
  };
  const auto [a, base_a] = split(unit);
  const auto [b, base_b] = split(wanted);
  if (base_a != base_b) return std::nullopt;
  return a / b;
}

std::string typable(const FaultBook& book) {
  std::string list;
  for (const Sign& s : book.signs) {
    if (s.trial) list += (list.empty() ? "" : ", ") + s.id;
  }
  return list;
}

// A meter that shows nothing or nought, by word.
std::optional<double> meter_word(const Sign& s, const std::string& word) {
  if (s.trial->typed_unit != "ohm") return std::nullopt;
  if (word == "open") return s.scale == Scale::Amount ? s.high - 6 : 70.0;
  if (word == "short") return s.scale == Scale::Amount ? s.low + 6 : -40.0;
  return std::nullopt;
}

}  // namespace

std::string notation_of(const Sign& s) {
  if (!s.trial) return s.id;
  if (s.scale == Scale::Words) {
    std::string words;
    for (const auto& [word, share] : s.words) words += (words.empty() ? "" : "|") + word;
    return s.id + "=" + words;
  }
  return fmt::format("{}=VALUE {}{}", s.id, s.trial->typed_unit,
                     s.trial->needs_expected ? " of EXPECTED" : "");
}

Evidence parse_observed(const std::string& text, const FaultBook& book) {
  const auto equals = text.find('=');
  const std::string id = trimmed(text.substr(0, equals));
  const Sign* s = book.sign(id);
  if (s == nullptr || !s->trial) {
    throw bad_usage(fmt::format("--observed \"{}\": \"{}\" is nothing that can be observed; there are: {}",
                                text, id, typable(book)));
  }
  const auto wrong = [&](std::string_view why) {
    return bad_usage(fmt::format("--observed \"{}\": {}; write {}", text, why, notation_of(*s)));
  };
  if (equals == std::string::npos) throw wrong("the value is missing");
  std::string rest = trimmed(text.substr(equals + 1));
  Evidence e;
  e.sign = s->id;
  e.from = "as observed";
  e.shown = rest;
  if (s->scale == Scale::Words) {
    if (std::none_of(s->words.begin(), s->words.end(), [&](const auto& w) { return w.first == rest; }))
      throw wrong("that is none of its words");
    e.word = rest;
    return e;
  }
  if (const auto v = meter_word(*s, rest)) {
    e.value = *v;
    e.sd = 4;
    return e;
  }
  std::optional<Quantity> plus_minus;
  for (const char* mark : {"+-", "\u00b1", "+/-"}) {
    const auto at = rest.find(mark);
    if (at == std::string::npos) continue;
    plus_minus = quantity(rest.substr(at + std::string_view(mark).size()));
    if (!plus_minus || plus_minus->value < 0) throw wrong("the uncertainty is no number");
    rest = trimmed(rest.substr(0, at));
    break;
  }
  std::optional<Quantity> expected;
  if (const auto of = rest.find(" of "); of != std::string::npos) {
    expected = quantity(rest.substr(of + 4));
    if (!expected || !(expected->value > 0)) throw wrong("the expected value is no number above 0");
    rest = trimmed(rest.substr(0, of));
  }
  const auto value = quantity(rest);
  if (!value) throw wrong("the value is no number");
  const auto in_unit = [&](const Quantity& q) {
    const auto f = factor(q.unit, s->trial->typed_unit);
    if (!f) throw wrong(fmt::format("\"{}\" is not its unit", q.unit));
    return q.value * *f;
  };
  const double v = in_unit(*value);
  const double u = plus_minus ? in_unit(*plus_minus) : -1;
  if (s->trial->needs_expected) {
    if (!expected) throw wrong("say what is expected there");
    const double rated = in_unit(*expected);
    if (s->unit == "%") {
      e.value = 100 * (v / rated - 1);
      e.sd = 0.5 * (u >= 0 ? 100 * u / rated : s->trial->uncertainty);
    } else {
      if (v < 0) throw wrong("it cannot be below 0");
      e.value = 20 * std::log10(std::max(v, 1e-3) / rated);
      e.sd = 0.5 * (u >= 0 ? 8.686 * u / std::max(v, 1e-3) : s->trial->uncertainty);
    }
  } else {
    if (v < 0) throw wrong("it cannot be below 0");
    e.value = to_working(s->scale, v);
    e.sd = 0.5 * (u >= 0 ? 8.686 * u / std::max(v, 1e-6) : s->trial->uncertainty);
  }
  if (!std::isfinite(e.value) || !std::isfinite(e.sd)) throw wrong("that is more than any meter shows");
  e.value = std::clamp(e.value, s->low, s->high);
  return e;
}

}  // namespace linebench::diagnose
