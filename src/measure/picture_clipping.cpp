#include "picture_clipping.hpp"

#include <algorithm>
#include <array>
#include <linebench/dsp/vectorised.hpp>

namespace linebench::measure {
namespace {

constexpr int px = 8;

LINEBENCH_VECTORISED void count_codes(const std::uint8_t* row, int blocks, int low, int high,
                                      std::uint8_t* out) {
  for (int b = 0; b < blocks; ++b) {
    int n = 0;
    for (int i = 0; i < px; ++i) {
      const int v = row[px * b + i];
      n += (v <= low ? 1 : 0) + (v >= high ? 1 : 0);
    }
    out[b] = static_cast<std::uint8_t>(out[b] + n);
  }
}

LINEBENCH_VECTORISED void widen(const std::uint8_t* codes, std::size_t n, std::uint8_t& low,
                                std::uint8_t& high) {
  std::uint8_t lo = low, hi = high;
  for (std::size_t i = 0; i < n; ++i) {
    lo = std::min(lo, codes[i]);
    hi = std::max(hi, codes[i]);
  }
  low = lo;
  high = hi;
}

// Red, green and blue of BT.601 codes, 0 to 255 as they are stored.
bool near_gamut(double y, double cb, double cr, double margin) {
  const double luma = (y - 16) * 255 / 219;
  const double b = 1.772 * (cb - 128) * 255 / 224;
  const double r = 1.402 * (cr - 128) * 255 / 224;
  const double g = -(0.299 * r + 0.114 * b) / 0.587;
  const auto [lo, hi] = std::minmax({r, g, b});
  return luma + lo < margin || luma + hi > 255 - margin;
}

}  // namespace

CodeLimits code_limits(std::span<const capture::Frame> frames, double noise) {
  CodeLimits limits;
  if (frames.empty() || noise < 0.6) return limits;
  std::uint8_t low = 255, high = 0;
  for (const capture::Frame& f : frames) widen(f.y.data(), f.y.size(), low, high);
  // What few samples reach is no limit: specks do.
  constexpr double least_share = 0.003;
  const auto is_limit = [&](std::uint8_t code) {
    double at = 0, all = 0;
    for (const capture::Frame& f : frames) {
      at += static_cast<double>(std::ranges::count(f.y, code));
      all += static_cast<double>(f.y.size());
    }
    return at > least_share * all;
  };
  if (low <= 20 && is_limit(low)) limits.lowest = low;
  if (high >= 230 && is_limit(high)) limits.highest = high;
  return limits;
}

std::vector<std::uint8_t> held_blocks(std::span<const capture::Frame> frames,
                                      const capture::FrameFormat& format, double noise) {
  constexpr std::size_t most_frames = 12;  // so that counts of a block fit into a byte
  frames = frames.first(std::min(frames.size(), most_frames));
  if (frames.empty() || (noise < 0.6 && !format.through_rgb)) return {};
  const int blocks = format.width / px;
  std::vector<std::uint8_t> held(static_cast<std::size_t>(blocks) * static_cast<std::size_t>(format.height));
  const auto row_at = [&](int r) { return static_cast<std::ptrdiff_t>(r) * format.width; };
  if (noise >= 0.6) {
    const CodeLimits limits = code_limits(frames, noise);
    for (const capture::Frame& f : frames)
      for (int r = 0; r < format.height; ++r)
        count_codes(f.y.data() + row_at(r), blocks, limits.lowest, limits.highest,
                    held.data() + static_cast<std::ptrdiff_t>(r) * blocks);
    const auto least = static_cast<std::uint8_t>(px * frames.size() / 50);
    for (std::uint8_t& n : held) n = n > least ? 1 : 0;
  }
  if (format.through_rgb) {
    const double margin = 20 + 3.5 * noise;
    const capture::Frame& f = frames.front();
    for (int r = 0; r < format.height; ++r) {
      for (int b = 0; b < blocks; ++b) {
        double y = 0, cb = 0, cr = 0;
        for (int i = 0; i < px; ++i) y += f.y[static_cast<std::size_t>(row_at(r) + px * b + i)] / 8.0;
        for (int i = 0; i < px / 2; ++i) {
          const auto at = static_cast<std::size_t>((row_at(r) + px * b) / 2 + i);
          cb += f.cb[at] / 4.0;
          cr += f.cr[at] / 4.0;
        }
        if (near_gamut(y, cb, cr, margin)) held[static_cast<std::size_t>(r * blocks + b)] = 1;
      }
    }
  }
  if (std::find(held.begin(), held.end(), 1) == held.end()) held.clear();
  return held;
}

}  // namespace linebench::measure
