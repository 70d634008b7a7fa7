// Colour-difference scaling and the bars' levels, computed from the matrix, never typed in.
#pragma once

#include <array>
#include <linebench/standards/video.hpp>
#include <optional>
#include <span>
#include <string_view>

namespace linebench::standards {

/// Luma from gamma-corrected primaries [BT.601, 170M, BT.470].
inline constexpr double luma_red = 0.299;
inline constexpr double luma_green = 0.587;
inline constexpr double luma_blue = 0.114;
/// U = u_scale (B'-Y'), V = v_scale (R'-Y') [170M; from memory; BT.470 rounds to 0.493 and 0.877].
inline constexpr double u_scale = 0.492111;
inline constexpr double v_scale = 0.877283;

/// Gamma-corrected primaries, 0..1.
struct Rgb {
  double r = 0;
  double g = 0;
  double b = 0;
};

/// Luma and colour difference, as shares of black-to-white.
struct Yuv {
  double y = 0;
  double u = 0;
  double v = 0;
};
[[nodiscard]] constexpr Yuv yuv_from_rgb(const Rgb& c) {
  const double y = luma_red * c.r + luma_green * c.g + luma_blue * c.b;
  return {y, u_scale * (c.b - y), v_scale * (c.r - y)};
}

/// A colour as it stands on the line.
struct CompositeColour {
  double luma_mv = 0;
  double chroma_pp_mv = 0;
  double phase_deg = 0;  ///< from +(B-Y), 0..360, on lines with V positive; 360 minus it where V is inverted
};
[[nodiscard]] CompositeColour composite_colour(const VideoStandard& standard, const Rgb& colour);

/// 8 bit Y', Cb, Cr codes [BT.601], before rounding: Y' 16..235, Cb and Cr 128 +- 112.
struct Code601 {
  double y = 0;
  double cb = 0;
  double cr = 0;
};
[[nodiscard]] Code601 code601_from_rgb(const Rgb& colour);
/// From luma and colour difference in composite scaling (Yuv).
[[nodiscard]] Code601 code601_from_yuv(const Yuv& yuv);

/// Bars in the order they stand on the line, left to right.
inline constexpr std::array<std::string_view, 8> bar_names = {"white",   "yellow", "cyan", "green",
                                                              "magenta", "red",    "blue", "black"};
/// The three forms in use: white and colours as shares of full.
struct BarForm {
  std::string_view name;  ///< "75", "100", "100-0-75-0"
  double white;
  double colour;
};
inline constexpr BarForm bars_75{"75", 0.75, 0.75};
inline constexpr BarForm bars_100{"100", 1.0, 1.0};
inline constexpr BarForm bars_100_0_75_0{"100-0-75-0", 1.0, 0.75};

/// Primaries of bar i (0 = white .. 7 = black).
[[nodiscard]] Rgb bar_rgb(const BarForm& form, int bar);

}  // namespace linebench::standards
