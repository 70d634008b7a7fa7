#include <fmt/format.h>

#include <algorithm>
#include <clocale>
#include <cmath>
#include <cwchar>
#include <limits>
#include <linebench/base/catalogue.hpp>
#include <linebench/report/format.hpp>

namespace linebench::report {
namespace {

struct Scale {
  double factor = 1;
  std::string unit;
  int decimals = 2;
};

// Times that need more than three decimals of a second read better in ms.
Scale scale_of(const Reading& r) {
  const ReadingKind* kind = find_kind(r.id);
  const int decimals = kind != nullptr ? kind->decimals : 2;
  if (r.unit == "s" && decimals > 3) return {1e3, "ms", decimals - 3};
  if (r.unit == "of full scale") return {100, "% FS", std::max(0, decimals - 2)};
  return {1, r.unit, decimals};
}

bool is_polarity(const Reading& r) { return r.id.find("polarity") != std::string::npos; }
std::string polarity_word(double v) { return v >= 0 ? "normal" : "reversed"; }

// "-0.00" reads as a mistake.
std::string fixed(double v, int decimals) {
  std::string s = fmt::format("{:.{}f}", v, decimals);
  if (s.starts_with('-') && s.find_first_not_of("-0.") == std::string::npos) s.erase(0, 1);
  return s;
}

// A limit as the set's author wrote it, without padding zeros.
std::string plain(double v) {
  return std::abs(v) >= 1e5 && std::abs(v) < 1e12 ? fmt::format("{:.0f}", v) : fmt::format("{:.6g}", v);
}

int shown_decimals(int wanted, double uncertainty) {
  if (!(uncertainty > 0)) return wanted;
  const int two_digits = 1 - static_cast<int>(std::floor(std::log10(uncertainty)));
  return std::clamp(two_digits, 0, wanted);
}

Shown show_number(const Reading& r) {
  if (is_polarity(r)) return {polarity_word(r.number()), "", ""};
  const Scale s = scale_of(r);
  const double u = r.uncertainty.value_or(0.0) * s.factor;
  const int d = shown_decimals(s.decimals, u);
  Shown out{fixed(r.number() * s.factor, d), "", s.unit};
  if (u > 0) {
    const double step = std::pow(10.0, -d);
    out.uncertainty = fixed(std::ceil(u / step - 1e-9) * step, d);
  }
  return out;
}

// Times of events: the first few, then how many more.
Shown show_times(const std::vector<double>& t) {
  constexpr std::size_t most = 3;
  std::string s;
  for (std::size_t i = 0; i < std::min(most, t.size()); ++i)
    s += fmt::format("{}{:.2f}", i > 0 ? ", " : "", t[i]);
  if (t.size() > most) s += fmt::format(" +{}", t.size() - most);
  return {t.empty() ? "-" : s, "", "s"};
}

// Beside a mask only what the mask is about.
Shown show_curve(const Curve& c, const std::vector<MaskPoint>& mask) {
  if (c.x_unit == "s") return show_times(c.x);
  double lo = std::numeric_limits<double>::infinity();
  double hi = -lo;
  for (std::size_t i = 0; i < std::min(c.x.size(), c.y.size()); ++i) {
    if (!mask.empty() && (c.x[i] < mask.front().x || c.x[i] > mask.back().x)) continue;
    lo = std::min(lo, c.y[i]);
    hi = std::max(hi, c.y[i]);
  }
  if (lo > hi) return mask.empty() ? Shown{"-", "", c.y_unit} : show_curve(c, {});
  return {fmt::format("{:.1f} to {:.1f}", lo, hi), "", c.y_unit};
}

struct Substitute {
  std::string_view utf8;
  std::string_view ascii;
};
constexpr Substitute substitutes[] = {
    {"\u00b1", "+/-"}, {"\u00b5", "u"},   {"\u2265", ">="},  {"\u2264", "<="}, {"\u2013", "-"},
    {"\u2014", "-"},   {"\u2026", "..."}, {"\u2500", "-"},   {"\u00b7", "-"},  {"\u2019", "'"},
    {"\u00d7", "x"},   {"\u2212", "-"},   {"\u03a9", "ohm"}, {"\u250c", "+"},  {"\u2510", "+"},
    {"\u2514", "+"},   {"\u2518", "+"},   {"\u2502", "|"},   {"\u25a0", "#"},
};

// Length of the UTF-8 sequence that starts here, 0 when it is not one.
std::size_t sequence_length(std::string_view s) {
  const auto lead = static_cast<unsigned char>(s[0]);
  const std::size_t n = lead < 0x80         ? 1
                        : (lead >> 5) == 6  ? 2
                        : (lead >> 4) == 14 ? 3
                        : (lead >> 3) == 30 ? 4
                                            : 0;
  if (n == 0 || n > s.size() || (n == 2 && lead < 0xc2) || lead > 0xf4) return 0;
  for (std::size_t i = 1; i < n; ++i) {
    if ((static_cast<unsigned char>(s[i]) >> 6) != 2) return 0;
  }
  return n;
}

char32_t code_point(std::string_view sequence) {
  const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(sequence[i]); };
  if (sequence.size() == 1) return byte(0);
  char32_t c = byte(0) & (0xffU >> (sequence.size() + 1));
  for (std::size_t i = 1; i < sequence.size(); ++i) c = (c << 6) | (byte(i) & 0x3fU);
  return c;
}

// C0, DEL and C1 steer terminals; so do line separators and direction overrides.
bool steers(char32_t c) {
  return c < 0x20 || (c >= 0x7f && c < 0xa0) || (c >= 0x2028 && c <= 0x202e) || (c >= 0x2066 && c <= 0x2069);
}

std::string escape(char32_t c) {
  if (c == '\n') return "\\n";
  if (c == '\r') return "\\r";
  if (c == '\t') return "\\t";
  return c < 0x100 ? fmt::format("\\x{:02x}", static_cast<unsigned>(c))
                   : fmt::format("\\u{:04x}", static_cast<unsigned>(c));
}

// The C library's table, in its Unicode locale whatever the user's own is.
std::size_t columns_of(char32_t c) {
  static const locale_t unicode = newlocale(LC_CTYPE_MASK, "C.UTF-8", nullptr);
  if (c < 0x300 || unicode == nullptr) return 1;
  const locale_t before = uselocale(unicode);
  const int columns = ::wcwidth(static_cast<wchar_t>(c));
  uselocale(before);
  return columns < 0 ? 1 : static_cast<std::size_t>(columns);
}

}  // namespace

Shown show_value(const Reading& r) {
  if (std::holds_alternative<double>(r.value)) return show_number(r);
  if (const auto* text = std::get_if<std::string>(&r.value)) return {*text, "", r.unit};
  if (const auto* curve = std::get_if<Curve>(&r.value))
    return show_curve(*curve, r.limit ? r.limit->mask : std::vector<MaskPoint>{});
  if (!r.at_most) return {"-", "", ""};
  const Scale s = scale_of(r);
  // Levels in dB need one decimal; a bound in per cent may be tiny and would round to nothing.
  const bool decibels = s.unit.starts_with("dB");
  const double bound = *r.at_most * s.factor;
  return {"< " + (decibels ? fixed(bound, 1) : fmt::format("{:.2g}", bound)), "", s.unit};
}

std::string difference_unit(const std::string& unit) {
  if (unit.starts_with("dB")) return "dB";
  return unit == "LUFS" ? "LU" : unit;
}

std::string show_limit(const Reading& r) {
  if (!r.limit) return {};
  const Limit& l = *r.limit;
  if (!l.allowed.empty()) return fmt::format("{}", fmt::join(l.allowed, ", "));
  if (!l.mask.empty()) {
    return fmt::format("mask {}\u2013{}", show_hz(l.mask.front().x), show_hz(l.mask.back().x));
  }
  if (is_polarity(r)) return l.min && *l.min > 0 ? "normal" : "reversed";
  const double f = scale_of(r).factor;
  if (l.min && l.max) {
    if (*l.min == *l.max) return plain(*l.max * f);
    if (*l.min == -*l.max) return "\u00b1" + plain(*l.max * f);
    return plain(*l.min * f) + " to " + plain(*l.max * f);
  }
  return l.min ? "min " + plain(*l.min * f) : l.max ? "max " + plain(*l.max * f) : std::string();
}

std::string show_hz(double hz) {
  if (std::abs(hz) >= 1e6) return fmt::format("{:.9g} MHz", hz / 1e6);
  return std::abs(hz) >= 1000 ? fmt::format("{:.6g} kHz", hz / 1000) : fmt::format("{:.6g} Hz", hz);
}

std::string show_duration(double seconds) {
  if (seconds < 90) return fmt::format("{:.{}f} s", seconds, seconds < 10 ? 2 : 1);
  const auto whole = std::llround(seconds);
  if (whole < 3600) return fmt::format("{} min {} s", whole / 60, whole % 60);
  return fmt::format("{} h {} min", whole / 3600, whole % 3600 / 60);
}

std::string to_ascii(std::string_view utf8) {
  std::string out;
  while (!utf8.empty()) {
    const auto* sub = std::find_if(std::begin(substitutes), std::end(substitutes),
                                   [&](const Substitute& s) { return utf8.starts_with(s.utf8); });
    if (sub != std::end(substitutes)) {
      out += sub->ascii;
      utf8.remove_prefix(sub->utf8.size());
      continue;
    }
    const std::size_t n = std::max<std::size_t>(sequence_length(utf8), 1);
    if (n == 1) {
      out += static_cast<unsigned char>(utf8[0]) < 0x80 ? utf8[0] : '?';
    } else {
      out.append(columns_of(code_point(utf8.substr(0, n))), '?');  // as wide as what it stands for
    }
    utf8.remove_prefix(n);
  }
  return out;
}

std::string printable(std::string_view text) {
  std::string out;
  while (!text.empty()) {
    const std::size_t n = sequence_length(text);
    const std::string_view piece = text.substr(0, std::max<std::size_t>(n, 1));
    if (n == 0) {
      out += fmt::format("\\x{:02x}", static_cast<unsigned char>(piece[0]));
    } else if (steers(code_point(piece))) {
      out += escape(code_point(piece));
    } else {
      out += piece;
    }
    text.remove_prefix(piece.size());
  }
  return out;
}

std::size_t text_width(std::string_view utf8) {
  std::size_t columns = 0;
  while (!utf8.empty()) {
    const std::size_t n = std::max<std::size_t>(sequence_length(utf8), 1);
    columns += n == 1 ? 1 : columns_of(code_point(utf8.substr(0, n)));
    utf8.remove_prefix(n);
  }
  return columns;
}

std::size_t character_length(std::string_view utf8) {
  if (utf8.empty()) return 0;
  std::size_t end = std::max<std::size_t>(sequence_length(utf8), 1);
  while (end < utf8.size()) {
    const std::size_t n = sequence_length(utf8.substr(end));
    if (n < 2 || columns_of(code_point(utf8.substr(end, n))) > 0) break;
    end += n;
  }
  return end;
}

}  // namespace linebench::report
