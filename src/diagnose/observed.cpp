// What a person saw or metered, as typed.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/text.hpp>
#include <linebench/diagnose/evidence.hpp>
#include <optional>
#include <regex>

namespace linebench::diagnose {
namespace {

struct Quantity {
  double value = 0;
  std::string unit;
};

// Commas before groups of three figures part thousands ("1,200,000"), any other is a decimal one ("0,400").
// Of one group nobody can tell which of the two was read, and between them lies a sound earth and none.
std::string decimal_points(const std::string& text) {
  static const std::regex thousands(R"(^([+-]?[1-9][0-9]{0,2})((,[0-9]{3})+)(?![0-9,]))");
  std::smatch m;
  std::string out = text;
  if (std::regex_search(text, m, thousands)) {
    const std::string whole = m[1].str();
    const std::string after = m[2].str().substr(1);
    if (after.size() == 3)
      throw bad_usage(
          fmt::format("\"{0},{1}\" may be {0}{1} or {0}.{1}: write it without a comma", whole, after));
    out = whole;
    for (const char c : m[2].str()) {
      if (c != ',') out += c;
    }
    out += m.suffix().str();
  }
  std::replace(out.begin(), out.end(), ',', '.');
  return out;
}

// "11.2 V", "0,4 ohm", "3kohm". Nothing when it does not begin with a number.
std::optional<Quantity> quantity(std::string text) {
  text = decimal_points(trimmed(text));
  double value = 0;
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  const auto [end, error] = std::from_chars(begin, text.data() + text.size(), value);
  if (error != std::errc() || !std::isfinite(value)) return std::nullopt;
  return Quantity{value,
                  trimmed(std::string_view(end, static_cast<std::size_t>(text.data() + text.size() - end)))};
}

// A unit as typed, upper or lower case: what its prefix stands for (which case tells apart), and its base.
std::optional<std::pair<double, std::string>> taken_apart(std::string unit) {
  std::erase(unit, ' ');
  for (const char* sign : {"\u03a9", "\u2126"}) {
    if (unit.ends_with(sign)) unit = unit.substr(0, unit.size() - std::string_view(sign).size()) + "ohm";
  }
  static constexpr std::pair<std::string_view, std::string_view> names[] = {
      {"ohms", "ohm"}, {"ohm", "ohm"}, {"volts", "v"}, {"volt", "v"}, {"amps", "a"},
      {"amp", "a"},    {"r", "ohm"},   {"v", "v"},     {"a", "a"}};
  for (const auto& [name, base] : names) {
    if (!lower_case(unit).ends_with(name)) continue;
    const std::string prefix = unit.substr(0, unit.size() - name.size());
    if (prefix.empty()) return std::pair{1.0, std::string(base)};
    if (prefix == "u" || prefix == "\u00b5" || prefix == "\u03bc") return std::pair{1e-6, std::string(base)};
    if (prefix == "m") return std::pair{1e-3, std::string(base)};
    if (prefix == "k" || prefix == "K") return std::pair{1e3, std::string(base)};
    if (prefix == "M") return std::pair{1e6, std::string(base)};
    return std::nullopt;
  }
  return std::nullopt;
}

// Factor from a typed unit to the one the sign is kept in; nothing when it is another kind of unit.
std::optional<double> factor(const std::string& unit, const std::string& wanted) {
  if (unit.empty()) return 1.0;
  // Ohms are written by their prefix alone: 1.2k, 3 M; a lone m may be either.
  const bool lone = wanted == "ohm" && (unit == "k" || unit == "K" || unit == "M");
  const auto typed = taken_apart(lone ? unit + wanted : unit);
  const auto kept = taken_apart(wanted);
  if (!typed || !kept || typed->second != kept->second) return std::nullopt;
  return typed->first / kept->first;
}

// What a person may have before him at a low-voltage plug: more is no extra-low voltage (dc 60 V, IEC
// 62368-1, from memory), and nobody is to have probes in it.
constexpr double most_volts = 60;

std::string with_prefix(double v, const std::string& within, const std::string& unit) {
  if (unit != "ohm" || v < 1e4 || !within.empty()) return fmt::format("{:.6g}{} {}", v, within, unit);
  return v < 1e6 ? fmt::format("{:.6g} k{}", v / 1e3, unit) : fmt::format("{:.6g} M{}", v / 1e6, unit);
}

std::string typable(const FaultBook& book) {
  std::string list;
  for (const Sign& s : book.signs) {
    if (s.trial) list += (list.empty() ? "" : ", ") + s.id;
  }
  return list;
}

// A meter that shows nothing or nought, by word.
std::optional<double> meter_word(const Sign& s, const std::string& typed) {
  if (s.trial->typed_unit != "ohm") return std::nullopt;
  // "OL of 40", "open ohm": what is expected, or the unit, says no more.
  std::string word = lower_case(typed);
  word = trimmed(word.substr(0, word.find(" of ")));
  // What meters show where they find no end: 10 Mohm and up, and on bad earths damp makes that less.
  for (const char* open : {"open", "ol", "o.l", "o.l.", "0l", "0.l", "inf", "infinite", "\u221e", "1."}) {
    if (word == open || word == std::string(open) + " ohm")
      return s.scale == Scale::Amount ? s.high - 20 : 70.0;
  }
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
  return fmt::format("{}=VALUE {}{}{}", s.id, s.trial->typed_unit,
                     s.trial->needs_expected ? " of EXPECTED" : "",
                     s.trial->typed_unit == "ohm" ? " (or open, which meters show as OL)" : "");
}

namespace {

// Throws Error(Usage) with what is wrong with it alone.
Evidence found_once(const Sign& sign, std::string rest) {
  const Sign* s = &sign;
  const auto wrong = [](std::string_view why) { return bad_usage(std::string(why)); };
  Evidence e;
  e.sign = s->id;
  e.from = "as observed";
  e.shown = rest;
  if (s->scale == Scale::Words) {
    static constexpr const char* counted[] = {"none", "one", "two"};
    const bool digit = rest.size() == 1 && rest[0] >= '0' && rest[0] <= '2';
    std::string said = digit ? counted[rest[0] - '0'] : lower_case(rest);
    if (said == "off") said = "dark";  // of a light
    const auto word = std::find_if(s->words.begin(), s->words.end(),
                                   [&](const auto& w) { return lower_case(w.first) == said; });
    if (word == s->words.end()) throw wrong("that is none of its words");
    e.word = e.shown = word->first;
    return e;
  }
  const auto warned = [&](Evidence found) {
    const auto& warning = s->trial->warning;
    if (warning && found.value >= warning->above) {
      found.caution = warning->text;
      found.first = warning->first;
    }
    return found;
  };
  if (const auto v = meter_word(*s, rest)) {
    e.value = *v;
    e.sd = 4;
    e.shown = lower_case(rest) == "short" ? "short" : "open";
    return warned(e);
  }
  std::optional<Quantity> plus_minus;
  for (const char* mark : {"+-", "\u00b1", "+/-"}) {
    const auto at = rest.find(mark);
    if (at == std::string::npos) continue;
    std::string after = rest.substr(at + std::string_view(mark).size());
    rest = trimmed(rest.substr(0, at));
    // "11.2 +- 0.1 V of 12" as well as "11.2 V of 12 +- 0.1".
    if (const auto of = after.find(" of "); of != std::string::npos) {
      rest += after.substr(of);
      after = after.substr(0, of);
    }
    plus_minus = quantity(after);
    if (!plus_minus || plus_minus->value < 0) throw wrong("the uncertainty is no number");
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
  const auto volts = [&](double x) { return s->trial->typed_unit == "V" ? x : x / 1000; };
  if (s->trial->typed_unit.ends_with('V') &&
      std::max(std::abs(volts(v)), expected ? volts(in_unit(*expected)) : 0) > most_volts)
    throw wrong(
        "so many volts are no low-voltage supply's. If it is no slip, stop and take the probes out: it is "
        "mains "
        "or another dangerous voltage, and only a licensed person measures there; take the low-voltage plug");
  const double u = plus_minus ? in_unit(*plus_minus) : -1;
  const std::string within = u >= 0 ? fmt::format(" \u00b1{:.4g}", u) : "";
  if (s->trial->needs_expected) {
    if (!expected) throw wrong("say what is expected there");
    const double rated = in_unit(*expected);
    e.shown =
        fmt::format("{:.4g}{} {} of {:.4g} {}", v, within, s->trial->typed_unit, rated, s->trial->typed_unit);
    if (s->unit == "%") {
      if (v < 0)
        throw wrong(
            "the volts are the wrong way round: are the meter's leads swapped? If not, keep the plug out of "
            "the "
            "unit, reversed volts destroy it; if it is a slip, type it without the sign");
      if (v > 1.8 * rated)
        throw wrong(
            fmt::format("{:.4g} V where {:.4g} V are expected is no reading of such a supply. If it is no "
                        "slip, stop: it may be "
                        "mains or another dangerous voltage; switch off and leave it to a licensed person",
                        v, rated));
      e.value = 100 * (v / rated - 1);
      e.sd = 0.5 * (u >= 0 ? 100 * u / rated : s->trial->uncertainty);
    } else {
      if (v < 0) throw wrong("it cannot be below 0");
      e.value = 20 * std::log10(std::max(v, 1e-3) / rated);
      e.sd = 0.5 * (u >= 0 ? 8.686 * u / std::max(v, 1e-3) : s->trial->uncertainty);
    }
  } else {
    if (expected) throw wrong("nothing is expected beside it: leave out \"of\" and what follows");
    if (v < 0) throw wrong("it cannot be below 0");
    e.shown = with_prefix(v, within, s->trial->typed_unit);
    e.value = to_working(s->scale, v);
    e.sd = 0.5 * (u >= 0 ? 8.686 * u / std::max(v, 1e-6) : s->trial->uncertainty);
  }
  if (!std::isfinite(e.value) || !std::isfinite(e.sd)) throw wrong("that is more than any meter shows");
  e.value = std::clamp(e.value, s->low, s->high);
  return warned(e);
}

Evidence value_of(const Sign& sign, const std::string& typed) {
  const std::string all = trimmed(typed);
  constexpr std::string_view again = " again";
  if (!lower_case(all).ends_with(again)) return found_once(sign, all);
  std::string once = trimmed(all.substr(0, all.size() - again.size()));
  if (once.ends_with(',')) once = trimmed(once.substr(0, once.size() - 1));
  Evidence e = found_once(sign, once);
  e.times = 2;
  e.shown += ", again";
  return e;
}

}  // namespace

std::string wrong_value(const Sign& sign, const std::string& typed) {
  try {
    (void)value_of(sign, trimmed(typed));
    return {};
  } catch (const Error& e) {
    return e.what();
  }
}

Evidence parse_observed(const std::string& text, const FaultBook& book) {
  const auto equals = text.find('=');
  const std::string id = trimmed(text.substr(0, equals));
  const Sign* s = book.sign(id);
  if (s == nullptr || !s->trial) {
    throw bad_usage(fmt::format("--observed \"{}\": \"{}\" is nothing that can be observed; there are: {}",
                                text, id, typable(book)));
  }
  std::string why = "the value is missing";
  try {
    if (equals != std::string::npos) return value_of(*s, trimmed(text.substr(equals + 1)));
  } catch (const Error& e) {
    why = e.what();
  }
  throw bad_usage(fmt::format("--observed \"{}\": {}; write {}", text, why, notation_of(*s)));
}

std::vector<Evidence> parse_observed(const std::vector<std::string>& texts, const FaultBook& book) {
  std::vector<Evidence> out;
  for (const std::string& text : texts) {
    Evidence e = parse_observed(text, book);
    const auto same =
        std::find_if(out.begin(), out.end(), [&](const Evidence& x) { return x.sign == e.sign; });
    if (same == out.end()) {
      out.push_back(std::move(e));
    } else if (same->word == e.word && same->value == e.value) {
      if (e.times > same->times) *same = std::move(e);
    } else {
      throw bad_usage(fmt::format("--observed \"{}\": {} was given as {} before; give the one that holds",
                                  text, e.sign, same->shown));
    }
  }
  return out;
}

}  // namespace linebench::diagnose
