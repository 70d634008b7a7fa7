// Figures of frames: the frame itself with what was found drawn on it, and the plots beside it.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/report/format.hpp>
#include <linebench/report/svg.hpp>

#include "phrases.hpp"
#include "plots.hpp"

namespace linebench::report {
namespace {

using measure::PictureTraces;

constexpr double white_codes = 219;  // black to white [BT.601]
constexpr double black_code = 16;

std::string base64(const std::vector<std::uint8_t>& bytes) {
  constexpr std::string_view digits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t have = std::min<std::size_t>(3, bytes.size() - i);
    unsigned v = 0;
    for (std::size_t k = 0; k < 3; ++k) v = v << 8 | (k < have ? bytes[i + k] : 0U);
    for (std::size_t k = 0; k < 4; ++k) out += k <= have ? digits[v >> (18 - 6 * k) & 63U] : '=';
  }
  return out;
}

std::optional<double> number_of(const PageSection& s, const char* id) {
  const Reading* r = find_reading(s.document.readings, id);
  if (r == nullptr || !std::holds_alternative<double>(r->value)) return std::nullopt;
  return r->number();
}

// ---- the frame

class FrameDrawing {
 public:
  FrameDrawing(const PageSection& s, std::string id) : s_(s), t_(*s.picture), id_(std::move(id)) {}

  std::string figure_html() {
    jitter();
    hum();
    roll();
    std::string svg = fmt::format(
        "<svg class=\"plot\" viewBox=\"0 0 480 {:.0f}\" role=\"img\" aria-labelledby=\"{}-t\"><title "
        "id=\"{}-t\">{}</title>",
        top + high + 26, id_, id_, phrase::frame_title);
    if (!s_.thumbnail.empty()) {
      svg += fmt::format(
          "<image x=\"0\" y=\"{}\" width=\"{}\" height=\"{}\" preserveAspectRatio=\"none\" "
          "href=\"data:image/png;base64,{}\"/>",
          top, wide, high, base64(s_.thumbnail));
    }
    svg += fmt::format("<rect class=\"pl\" x=\"0\" y=\"{}\" width=\"{}\" height=\"{}\"/>", top, wide, high);
    return figure(phrase::first_frame, svg + body_ + "</svg>",
                  caption_.empty() ? phrase::nothing_to_draw : caption_);
  }

 private:
  static constexpr double top = 20, wide = 384, high = 288;  // 4 : 3, as a monitor shows it
  static constexpr double strip = 392, strip_wide = 84;

  [[nodiscard]] double y_of(double row) const { return top + high * (row + 0.5) / t_.height; }

  // A light line over a dark one: seen on any picture.
  void over_picture(const std::string& d) {
    body_ += fmt::format("<path class=\"ln under\" d=\"{}\"/><path class=\"ln over\" d=\"{}\"/>", d, d);
  }

  void jitter() {
    const double rms = number_of(s_, "picture.jitter").value_or(0);
    const double tear = std::abs(number_of(s_, "picture.tear").value_or(0));
    const double bend = std::abs(number_of(s_, "picture.flagging").value_or(0));
    const double most = std::max({3 * rms, tear, bend});
    if (t_.row_shift.empty() || most < 0.5) return;
    const double times = std::max(1.0, std::floor(40 / most));
    std::string d;
    bool down = false;
    for (std::size_t r = 0; r < t_.row_shift.size(); ++r) {
      const double v = t_.row_shift[r];
      if (!std::isfinite(v)) {
        down = false;
        continue;
      }
      const double x = wide / 2 + std::clamp(v * times * wide / t_.width, -wide / 2, wide / 2);
      d += fmt::format("{}{:.1f} {:.1f}", down ? "L" : "M", x, y_of(static_cast<double>(r)));
      down = true;
    }
    over_picture(d);
    say(times > 1 ? fmt::format(phrase::sideways_times, times) : phrase::sideways);
  }

  void hum() {
    const auto level = number_of(s_, "picture.hum.level");
    if (t_.hum_row.empty() || !level) return;
    double most = 0;
    for (const double v : t_.hum_row) most = std::max(most, std::abs(v));
    if (!(most > 0)) return;
    const double middle = strip + strip_wide / 2;
    const double scale = 0.46 * strip_wide / most;
    double mean = 0;
    for (const double v : t_.row_mean) mean += v;
    mean /= static_cast<double>(std::max<std::size_t>(1, t_.row_mean.size()));
    std::string fit, rows;
    for (int r = 0; r < t_.height; r += 2) {  // of one field, whose rows follow each other in time
      const auto i = static_cast<std::size_t>(r);
      fit += fmt::format("{}{:.1f} {:.1f}", fit.empty() ? "M" : "L", middle + scale * t_.hum_row[i], y_of(r));
      const double x =
          middle + std::clamp(scale * (t_.row_mean[i] - mean), -0.5 * strip_wide, 0.5 * strip_wide);
      rows += fmt::format("{}{:.1f} {:.1f}", rows.empty() ? "M" : "L", x, y_of(r));
    }
    body_ += fmt::format("<rect class=\"pl\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>", strip, top,
                         strip_wide, high);
    body_ += fmt::format("<path class=\"ln rail\" d=\"M{:.1f} {}V{}\"/>", middle, top, top + high);
    const Reading* pattern = find_reading(s_.document.readings, "picture.pattern");
    const bool known = pattern != nullptr && std::holds_alternative<std::string>(pattern->value) &&
                       pattern->text() != "none";
    if (known) body_ += fmt::format("<path class=\"ln s0 thin\" d=\"{}\"/>", rows);
    body_ += fmt::format("<path class=\"ln hum\" d=\"{}\"/>", fit);
    body_ += fmt::format("<text class=\"tx\" x=\"{:.0f}\" y=\"14\">{}</text>", middle, phrase::hum_column);
    body_ += fmt::format("<text class=\"tx\" x=\"{:.0f}\" y=\"{:.0f}\">\u00b1{:.2g} %</text>", middle,
                         top + high + 18, 100 * most / white_codes);
    say(std::string(phrase::hum_right) + (known ? phrase::rows_thin : "."));
  }

  void roll() {
    const double lines = number_of(s_, "picture.roll").value_or(0);
    if (std::abs(lines) < 0.1) return;
    const double length = 90;
    const double from = top + high / 2 - (lines > 0 ? length : -length) / 2;
    const double to = top + high / 2 + (lines > 0 ? length : -length) / 2;
    const double barb = lines > 0 ? -14 : 14;
    over_picture(
        fmt::format("M60 {:.0f}V{:.0f}M50 {:.0f}L60 {:.0f}L70 {:.0f}", from, to, to + barb, to, to + barb));
    say(fmt::format(phrase::moves, lines > 0 ? phrase::down : phrase::up, std::abs(lines)));
  }

  void say(const std::string& text) { caption_ += (caption_.empty() ? "" : " ") + text; }

  const PageSection& s_;
  const PictureTraces& t_;
  std::string id_, body_, caption_;
};

// ---- plots

std::string line_figure(const PageSection& s, const std::string& id) {
  const PictureTraces& t = *s.picture;
  if (t.line_y.size() < 16) return {};
  const double length_us = static_cast<double>(t.line_y.size()) / 13.5;
  Plot plot(id, phrase::along_line, phrase::along_line_axes, linear_axis(0, length_us, "\u00b5s"),
            linear_axis(0, 255, "code"));
  std::vector<double> x;
  for (std::size_t i = 0; i < t.line_y.size(); ++i) x.push_back((static_cast<double>(i) + 0.5) / 13.5);
  plot.horizontal(black_code, "rail");
  plot.horizontal(black_code + white_codes, "rail");
  plot.line(x, t.line_y, "s0", phrase::mean_alike);
  return figure(phrase::along_line, plot.svg(), phrase::dotted);
}

// Highest within 3 Hz, so that a multiple is no slope of something else.
bool stands_out(const std::vector<double>& db, std::size_t i) {
  for (std::size_t k = i > 6 ? i - 6 : 0; k <= i + 6 && k < db.size(); ++k) {
    if (db[k] > db[i] + 1 && (k + 2 < i || k > i + 2)) return false;
  }
  return true;
}

std::string spectrum_figure(const PageSection& s, const std::string& id) {
  const PictureTraces& t = *s.picture;
  if (t.spectrum_hz.size() < 16) return {};
  std::vector<double> db;
  double low = 0, high = -200;
  for (const double codes : t.spectrum_codes) {
    db.push_back(20 * std::log10(std::max(2 * codes, 1e-4) / white_codes));
    low = std::min(low, db.back());
    high = std::max(high, db.back());
  }
  high = std::ceil((high + 3) / 10) * 10;
  low = std::max(std::floor(low / 10) * 10, high - 70);
  Plot plot(id, phrase::rows_spectrum, phrase::rows_spectrum_axes, linear_axis(0, t.spectrum_hz.back(), "Hz"),
            linear_axis(low, high, "dB re white"));
  plot.line(t.spectrum_hz, db, "s0 thin");
  std::string caption = phrase::rows_spectrum_caption;
  if (const auto hz = number_of(s, "picture.hum.frequency")) {
    for (int n = 1; n <= 4 && n * *hz < t.spectrum_hz.back(); ++n) {
      const auto i = static_cast<std::size_t>(
          std::lround((n * *hz - t.spectrum_hz.front()) / (t.spectrum_hz[1] - t.spectrum_hz[0])));
      if (i < db.size() && db[i] > low && (n == 1 || stands_out(db, i)))
        plot.mark(n * *hz, db[i], MarkShape::Dot, "m0",
                  n == 1 ? fmt::format("{:.2f} Hz", *hz) : fmt::format("{}", n));
    }
    caption += phrase::hum_dots;
  }
  const Reading* pattern = find_reading(s.document.readings, "picture.pattern");
  if (pattern != nullptr && pattern->measured() && pattern->text() == "none") caption += phrase::what_moves;
  return figure(phrase::rows_spectrum, plot.svg(), caption);
}

std::string roll_figure(const PageSection& s, const std::string& id) {
  const PictureTraces& t = *s.picture;
  const auto lines = number_of(s, "picture.roll");
  if (t.roll_s.size() < 4 || !lines || std::abs(*lines) < 0.1) return {};
  auto [low, high] = std::minmax_element(t.roll_lines.begin(), t.roll_lines.end());
  const double margin = 0.05 * (*high - *low) + 0.5;
  Plot plot(id, phrase::roll_track, phrase::roll_axes, linear_axis(0, std::max(0.1, t.roll_s.back()), "s"),
            linear_axis(*low - margin, *high + margin, phrase::roll_unit));
  plot.line(t.roll_s, t.roll_lines, "s0", phrase::roll_place);
  return figure(phrase::roll_track, plot.svg(), phrase::roll_caption);
}

std::string burst_figure(const PageSection& s, const std::string& id) {
  const Reading* r = find_reading(s.document.readings, "picture.multiburst");
  if (r == nullptr || !std::holds_alternative<Curve>(r->value)) return {};
  const Curve& c = r->curve();
  if (c.x.size() < 2) return {};
  const double low = std::floor(std::min(-6.0, *std::min_element(c.y.begin(), c.y.end()) - 1) / 3) * 3;
  const double high = std::ceil(std::max(3.0, *std::max_element(c.y.begin(), c.y.end()) + 1) / 3) * 3;
  std::vector<double> mhz;
  for (const double hz : c.x) mhz.push_back(hz / 1e6);
  Plot plot(id, phrase::multiburst, phrase::multiburst_axes,
            linear_axis(0, std::ceil(mhz.back() + 0.3), "MHz"), linear_axis(low, high, "dB"));
  plot.line(mhz, c.y, "s0", phrase::re_reference);
  for (std::size_t i = 0; i < mhz.size(); ++i)
    plot.mark(mhz[i], c.y[i], MarkShape::Dot, "m0", fmt::format("{:.1f}", c.y[i]));
  return figure(phrase::multiburst, plot.svg(), r->reason);
}

}  // namespace

Thumbnail thumbnail(const PictureTraces& t) {
  Thumbnail out;
  const auto w = static_cast<std::size_t>(t.width), h = static_cast<std::size_t>(t.height);
  if (w < 4 || h < 4 || t.y.size() != w * h || t.cb.size() != w / 2 * h || t.cr.size() != w / 2 * h)
    return out;
  out.width = t.width / 2;
  out.height = t.height / 2;
  const auto code = [](double v) { return static_cast<std::uint8_t>(std::clamp(std::lround(v), 0L, 255L)); };
  for (std::size_t r = 0; r + 1 < h; r += 2) {
    for (std::size_t x = 0; x + 1 < w; x += 2) {
      const auto mean2 = [&](const std::vector<std::uint8_t>& p, std::size_t at, std::size_t stride) {
        return 0.5 * (p[at] + p[at + stride]);
      };
      const double y =
          255 / white_codes * (0.5 * (mean2(t.y, r * w + x, w) + mean2(t.y, r * w + x + 1, w)) - black_code);
      const double cb = 255 / 224.0 * (mean2(t.cb, r * w / 2 + x / 2, w / 2) - 128);
      const double cr = 255 / 224.0 * (mean2(t.cr, r * w / 2 + x / 2, w / 2) - 128);
      // [BT.601], from Y = 0.299 R + 0.587 G + 0.114 B
      out.bgr.push_back(code(y + 1.772 * cb));
      out.bgr.push_back(code(y - 0.344136 * cb - 0.714136 * cr));
      out.bgr.push_back(code(y + 1.402 * cr));
    }
  }
  return out;
}

std::string picture_figures(const PageSection& section, const std::string& id_prefix) {
  if (section.picture->width == 0) return {};
  return FrameDrawing(section, id_prefix + "-f").figure_html() + line_figure(section, id_prefix + "-w") +
         spectrum_figure(section, id_prefix + "-h") + roll_figure(section, id_prefix + "-v") +
         burst_figure(section, id_prefix + "-m");
}

}  // namespace linebench::report
