#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/dsp/quantile.hpp>
#include <string>
#include <string_view>
#include <vector>

#include "video_readers.hpp"

namespace linebench::capture {
namespace {

struct Row {
  double t = 0;
  double v = 0;
  double resolution = 0;  // what the last digit of the time stands for
};

// What the last digit written stands for: 1.2345e-03 is known to 1e-7.
double resolution_of(std::string_view field) {
  const auto e = field.find_first_of("eE");
  int exponent = 0;
  if (e != std::string_view::npos) {
    auto digits = field.substr(e + 1);
    if (!digits.empty() && digits.front() == '+') digits.remove_prefix(1);
    (void)std::from_chars(digits.data(), digits.data() + digits.size(), exponent);
    exponent = std::clamp(exponent, -400, 400);  // of a double, and room for what is taken off below
  }
  const std::string_view mantissa = field.substr(0, e);
  const auto point = mantissa.find_first_of(".,");
  if (point != std::string_view::npos) exponent -= static_cast<int>(mantissa.size() - point - 1);
  return std::pow(10.0, exponent);
}

std::string_view trimmed(std::string_view s) {
  while (!s.empty() && (s.front() == ' ' || s.front() == '"' || s.front() == '\t')) s.remove_prefix(1);
  while (!s.empty() && (s.back() == ' ' || s.back() == '"' || s.back() == '\r' || s.back() == '\t'))
    s.remove_suffix(1);
  if (!s.empty() && s.front() == '+') s.remove_prefix(1);
  return s;
}

bool parse(std::string_view field, bool decimal_comma, double& out) {
  field = trimmed(field);
  char buffer[64];
  if (field.empty() || field.size() >= sizeof buffer) return false;
  std::copy(field.begin(), field.end(), buffer);
  if (decimal_comma) std::replace(buffer, buffer + field.size(), ',', '.');
  const auto r = std::from_chars(buffer, buffer + field.size(), out);
  return r.ec == std::errc() && r.ptr == buffer + field.size();
}

// How columns are separated: a semicolon or tab leaves the comma for decimals.
struct Style {
  char separator = ',';
  bool decimal_comma = false;
};

Style style_of(std::string_view line) {
  for (const char c : {';', '\t'}) {
    if (line.find(c) != std::string_view::npos) return {c, line.find(',') != std::string_view::npos};
  }
  return {',', false};
}

enum class Kind : std::uint8_t { Data, NotNumbers, NotANumber };

Kind read_row(std::string_view line, const Style& style, Row& row) {
  const auto first = line.find(style.separator);
  if (first == std::string_view::npos) return Kind::NotNumbers;
  std::string_view rest = line.substr(first + 1);
  rest = rest.substr(0, rest.find(style.separator));
  if (!parse(line.substr(0, first), style.decimal_comma, row.t) || !parse(rest, style.decimal_comma, row.v)) {
    return Kind::NotNumbers;
  }
  row.resolution = resolution_of(trimmed(line.substr(0, first)));
  return std::isfinite(row.t) && std::isfinite(row.v) ? Kind::Data : Kind::NotANumber;
}

class CsvVideo : public VideoSource {
 public:
  explicit CsvVideo(const std::filesystem::path& file) : in_(file), name_(file.filename().string()) {
    if (!in_)
      throw unusable(fmt::format("{}: cannot be opened; check that it is there and readable", file.string()));
    read_head();
    fit_rate();
    facts_.source = name_;
    facts_.kind = "composite samples";
    facts_.format = "CSV";
    facts_.channels = 1;
    facts_.sample_rate_hz = 1 / step_;
    check_video_rate(name_, facts_.sample_rate_hz, "by its time column");
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }

  std::size_t read(std::span<float> volts) override {
    std::size_t n = 0;
    Row row;
    while (n < volts.size() && next(row)) {
      check_time(row);
      volts[n] = static_cast<float>(row.v * unit_v_);
      if (!std::isfinite(volts[n++]))
        throw unusable(fmt::format("{} line {}: {:g} volts cannot be right; save it again", name_,
                                   first_line_ + rows_ - 1, row.v * unit_v_));
    }
    if (n == 0) facts_.frames = rows_;  // known only now
    return n;
  }

 private:
  // Header lines, their units, and enough rows to know the step by.
  void read_head() {
    constexpr int most_header_lines = 200;
    std::string line;
    Row row;
    while (std::getline(in_, line)) {
      ++line_number_;
      const Style style = style_of(line);
      if (read_row(line, style, row) == Kind::Data) {
        style_ = style;
        head_.push_back(row);
        break;
      }
      note_units(line);
      if (line_number_ > most_header_lines) {
        throw unusable(
            fmt::format("{}: no rows of time and volts in the first {} lines; save it with those two columns",
                        name_, most_header_lines));
      }
    }
    if (head_.empty())
      throw unusable(
          fmt::format("{}: there are no samples in it; save it with a time and a volts column", name_));
    first_line_ = line_number_;
    constexpr std::size_t enough = 20000;
    while (head_.size() < enough && read_line(row)) head_.push_back(row);
    if (head_.size() < 64)
      throw unusable(
          fmt::format("{}: only {} rows; take a longer capture (50 ms or more)", name_, head_.size()));
  }

  // A header that names milliseconds, microseconds or millivolts is believed.
  void note_units(const std::string& line) {
    const auto has = [&](const char* word) { return line.find(word) != std::string::npos; };
    if (has("(ms)") || has("[ms]")) unit_s_ = 1e-3;
    if (has("(us)") || has("[us]")) unit_s_ = 1e-6;
    if (has("(ns)") || has("[ns]")) unit_s_ = 1e-9;
    if (has("(mV)") || has("[mV]")) unit_v_ = 1e-3;
  }

  bool read_line(Row& row) {
    std::string line;
    while (std::getline(in_, line)) {
      ++line_number_;
      if (trimmed(line).empty()) continue;
      switch (read_row(line, style_, row)) {
        case Kind::Data:
          return true;
        case Kind::NotANumber:
          throw unusable(
              fmt::format("{} line {}: the value is not a number; take the capture again or cut it out",
                          name_, line_number_));
        case Kind::NotNumbers:
          throw unusable(fmt::format("{} line {}: not a row of time and volts: \"{}\"; save it again", name_,
                                     line_number_, line.substr(0, 40)));
      }
    }
    return false;
  }

  bool next(Row& row) {
    if (head_at_ < head_.size()) {
      row = head_[head_at_++];
      if (head_at_ == head_.size()) {
        head_.clear();
        head_.shrink_to_fit();
        head_at_ = 0;
      }
      return true;
    }
    return read_line(row);
  }

  // Times are often written with few digits, so that single steps jump; the slope over thousands of rows is
  // exact enough, and the median of long steps does not mind a gap.
  void fit_rate() {
    const std::size_t apart = std::max<std::size_t>(1, head_.size() / 4);
    std::vector<double> slopes;
    for (std::size_t i = 0; i + apart < head_.size(); ++i) {
      slopes.push_back((head_[i + apart].t - head_[i].t) / static_cast<double>(apart));
    }
    const double step = dsp::median(std::move(slopes));
    if (!(step > 0)) {
      throw unusable(
          fmt::format("{} line {}: time does not run forward; the first column must be time in seconds",
                      name_, first_line_));
    }
    step_ = step * unit_s_;
    // Least squares over all rows of the head, each checked against the median's grid first.
    double n = 0;
    double si = 0;
    double st = 0;
    double sii = 0;
    double sit = 0;
    for (std::size_t i = 0; i < head_.size(); ++i) {
      const double t = head_[i].t - head_[0].t - static_cast<double>(i) * step;
      if (std::abs(t) > 4 * step + head_[i].resolution) break;
      const auto x = static_cast<double>(i);
      n += 1;
      si += x;
      st += t;
      sii += x * x;
      sit += x * t;
    }
    const double det = n * sii - si * si;
    if (n > 32 && det > 0) step_ = (step + (n * sit - si * st) / det) * unit_s_;
  }

  // Each row must come a step after the one before and lie on the grid of all; what rounding in the file adds
  // is allowed.
  void check_time(const Row& row) {
    const double t = row.t * unit_s_;
    const double rounding = row.resolution * unit_s_;
    if (rows_ == 0) first_t_ = t;
    const double line = static_cast<double>(first_line_ + rows_);
    const double since = rows_ > 0 ? t - last_t_ : step_;
    if (since > 1.5 * step_ + rounding) {
      throw unusable(fmt::format(
          "{} line {:.0f}: {:.0f} samples are missing before it; measure the pieces apart or save it again",
          name_, line, since / step_ - 1));
    }
    if (std::abs(since - step_) > 0.45 * step_ + rounding) {
      throw unusable(fmt::format(
          "{} line {:.0f}: time steps are not even ({:.4g} s where {:.4g} s is the rule); save it with "
          "evenly spaced samples",
          name_, line, since, step_));
    }
    // The rate from the first rows is good to some parts in a hundred thousand.
    const double off = t - first_t_ - static_cast<double>(rows_) * step_;
    if (std::abs(off) > 2 * step_ + rounding + 2e-5 * static_cast<double>(rows_) * step_) {
      throw unusable(fmt::format(
          "{} line {:.0f}: time steps are not even (it is {:.3g} s off an even grid); save it with evenly "
          "spaced samples",
          name_, line, off));
    }
    last_t_ = t;
    ++rows_;
  }

  std::ifstream in_;
  std::string name_;
  CaptureFacts facts_;
  Style style_;
  std::vector<Row> head_;
  std::size_t head_at_ = 0;
  std::uint64_t line_number_ = 0;
  std::uint64_t first_line_ = 0;
  std::uint64_t rows_ = 0;
  double unit_s_ = 1;
  double unit_v_ = 1;
  double step_ = 0;  // s
  double first_t_ = 0;
  double last_t_ = 0;
};

}  // namespace

std::unique_ptr<VideoSource> open_csv_video(const std::filesystem::path& file) {
  return std::make_unique<CsvVideo>(file);
}

}  // namespace linebench::capture
