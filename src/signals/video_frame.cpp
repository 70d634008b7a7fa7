#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/signals/video_frame.hpp>
#include <linebench/standards/video_colour.hpp>
#include <map>
#include <span>
#include <stdexcept>

#include "video_events.hpp"
#include "video_line_sum.hpp"

namespace linebench::signals {
namespace {

using standards::VideoStandard;

constexpr int width = 720;
constexpr double luma_rate_hz = 13.5e6;
constexpr double chroma_rate_hz = luma_rate_hz / 2;
// Flat bands and half the sampling rates [BT.601].
constexpr BandLimit luma_limit{5.75e6, luma_rate_hz / 2};
constexpr BandLimit chroma_limit{2.75e6, chroma_rate_hz / 2};
// Colour edges wide enough for half the luma rate: the sin^2 has its first zero at 2.5 MHz.
constexpr double chroma_had_ns = 400;
// The digital line is a little longer than the picture between the blanking edges; what touches an end goes
// on.
constexpr double overhang_us = 2;

TestLine stretched(const TestLine& line, const VideoStandard& s) {
  TestLine out = line;
  for (TestElement& e : out.elements) {
    if (e.shape != ElementShape::Flat) continue;
    if (std::abs(e.start_us - s.active_start_us.nominal) < 1e-3) e.start_us -= overhang_us;
    if (std::abs(e.end_us - s.active_end_us()) < 1e-3) e.end_us += overhang_us;
  }
  return out;
}

// One component of a row: events with their real amplitudes, sampled from the start of the digital line on.
class ComponentRow {
 public:
  ComponentRow(double rate_hz, BandLimit limit, const VideoStandard& s)
      : rate_(rate_hz),
        bank_(rate_hz, limit),
        margin_(static_cast<std::int64_t>(bank_.half_width(s.modulated_pulse_had_ns)) + 3),
        longest_(static_cast<std::int64_t>(s.line_period_us() * rate_hz * 1e-6) + 64),
        first_(static_cast<std::int64_t>(s.zero_h_to_digital_active * rate_hz / luma_rate_hz)) {}

  enum class Part { Luma, U, V };

  void render(const std::vector<LineEvent>& events, Part part, std::span<float> out) {
    LineSum sum(bank_, margin_, longest_);
    std::vector<PlacedEvent> placed;
    for (const LineEvent& e : events) {
      if ((e.carrier == Carrier::Subcarrier) != (part != Part::Luma)) continue;
      PlacedEvent p;
      const double had = part == Part::Luma || e.shape != ShapeKind::Step ? e.had_ns : chroma_had_ns;
      p.table = &bank_.get(e.shape, had, e.carrier == Carrier::Own ? e.frequency_hz : 0);
      p.shape = e.shape;
      p.at = e.at_us * 1e-6 * rate_;
      p.amplitude = part == Part::V ? e.amplitude.imag() : e.amplitude.real();
      if (e.shape == ShapeKind::Slope) p.amplitude *= 1e6 / rate_;
      if (e.carrier == Carrier::Own) {
        p.carrier = sum.carrier(e.frequency_hz);
        p.origin = e.origin_us * 1e-6 * rate_;
      }
      placed.push_back(p);
    }
    sum.start_at(-margin_);
    sum.add_line(placed, 0, 0, 0);
    sum.drop_before(first_);
    sum.take(out);
  }

 private:
  double rate_;
  ShapeBank bank_;
  std::int64_t margin_;
  std::int64_t longest_;
  std::int64_t first_;
};

std::uint8_t code(double v) {  // 0 and 255 are reserved for synchronisation
  return static_cast<std::uint8_t>(std::clamp(std::lround(v), 1L, 254L));
}

class FrameMaker {
 public:
  explicit FrameMaker(const VideoStandard& s)
      : s_(s), luma_(luma_rate_hz, luma_limit, s), chroma_(chroma_rate_hz, chroma_limit, s) {}

  const std::vector<std::uint8_t>& row(const TestLine& line) {
    auto [slot, fresh] = rows_.try_emplace(&line);
    if (fresh) slot->second = make(line);
    return slot->second;
  }

 private:
  std::vector<std::uint8_t> make(const TestLine& line) {
    std::vector<LineEvent> events;
    add_picture_events(events, s_, stretched(line, s_),
                       {s_.active_start_us.nominal - overhang_us, s_.active_end_us() + overhang_us});
    std::vector<float> y(width);
    std::vector<float> u(width / 2);
    std::vector<float> v(width / 2);
    luma_.render(events, ComponentRow::Part::Luma, y);
    chroma_.render(events, ComponentRow::Part::U, u);
    chroma_.render(events, ComponentRow::Part::V, v);
    std::vector<std::uint8_t> bytes(2 * width);
    const double white = s_.white_mv.nominal;
    for (std::size_t i = 0; i < width; ++i) {
      const std::size_t pair = i / 2;
      const auto c = standards::code601_from_yuv({static_cast<double>(y[i]) / white,
                                                  static_cast<double>(u[pair]) / white,
                                                  static_cast<double>(v[pair]) / white});
      bytes[2 * i] = code(c.y);
      bytes[2 * i + 1] = code(i % 2 == 0 ? c.cb : c.cr);
    }
    return bytes;
  }

  const VideoStandard& s_;
  ComponentRow luma_;
  ComponentRow chroma_;
  std::map<const TestLine*, std::vector<std::uint8_t>> rows_;
};

// 480 rows keep the middle of the 486: four rows go at the top, two at the bottom, so that fields stay in
// place.
constexpr int rows_480 = 480;
constexpr int first_row_480 = 4;

}  // namespace

YuyvFrame::Pixel YuyvFrame::at(int column, int row) const {
  if (column < 0 || column >= width || row < 0 || row >= height) throw std::out_of_range("YuyvFrame::at");
  const std::size_t pair = 2 * static_cast<std::size_t>(row * width + column / 2 * 2);
  return {bytes[pair + 2 * static_cast<std::size_t>(column % 2)], bytes[pair + 1], bytes[pair + 3]};
}

const VideoStandard& frame_standard(const VideoStandard& standard) {
  return standard.is_525() ? standards::video_525_no_setup : standard;
}

YuyvFrame make_frame(const TestPicture& picture, const VideoStandard& s, std::int64_t number, int height) {
  if (s.setup_fraction != 0)
    throw bad_usage("frames hold no setup; describe the picture for 525 without setup");
  const bool cut = s.is_525() && height == rows_480;
  if (height != s.active_rows && !cut) {
    throw bad_usage(
        fmt::format("{} rows: a frame of this system has {}", height, s.is_525() ? "486 or 480" : "576"));
  }
  FrameMaker maker(s);
  YuyvFrame f;
  f.height = height;
  f.top_field_first = !s.is_525();
  f.bytes.reserve(static_cast<std::size_t>(2 * width * height));
  for (int r = 0; r < height; ++r) {
    const auto& row = maker.row(picture.line_at(number, r + (cut ? first_row_480 : 0)));
    f.bytes.insert(f.bytes.end(), row.begin(), row.end());
  }
  return f;
}

PictureFrames::PictureFrames(TestPicture picture, const VideoStandard& standard, int height)
    : picture_(std::move(picture)), standard_(&standard), height_(height) {
  frames_[0] = make_frame(picture_, standard, 0, height);
}

const YuyvFrame& PictureFrames::at(std::int64_t number) {
  const bool other = picture_.is_alternate(number);
  YuyvFrame& f = frames_[other ? 1 : 0];
  if (f.bytes.empty()) f = make_frame(picture_, *standard_, number, height_);
  return f;
}

}  // namespace linebench::signals
