#include <cmath>
#include <linebench/standards/video_colour.hpp>
#include <numbers>
#include <stdexcept>

namespace linebench::standards {

CompositeColour composite_colour(const VideoStandard& s, const Rgb& colour) {
  const Yuv c = yuv_from_rgb(colour);
  const double chroma = std::hypot(c.u, c.v);
  CompositeColour out;
  out.luma_mv = s.picture_mv(c.y);
  out.chroma_pp_mv = 2 * chroma * s.white_mv.nominal * (1 - s.setup_fraction);
  if (chroma > 1e-9) {  // rounding of the matrix leaves 1e-17 on greys
    const double deg = std::atan2(c.v, c.u) * 180 / std::numbers::pi;
    out.phase_deg = deg < 0 ? deg + 360 : deg;
  } else {
    out.chroma_pp_mv = 0;
  }
  return out;
}

Code601 code601_from_yuv(const Yuv& c) {
  // B'-Y' spans +-0.886 and R'-Y' +-0.701, each to 224 steps in all.
  const double cb = c.u / u_scale / (2 * (1 - luma_blue));
  const double cr = c.v / v_scale / (2 * (1 - luma_red));
  return {16 + 219 * c.y, 128 + 224 * cb, 128 + 224 * cr};
}

Code601 code601_from_rgb(const Rgb& colour) { return code601_from_yuv(yuv_from_rgb(colour)); }

Rgb bar_rgb(const BarForm& form, int bar) {
  if (bar < 0 || bar > 7) throw std::out_of_range("bar_rgb: bars count from 0 to 7");
  // The order is that of falling luma: a three bit count down with green as the highest bit, red next, blue
  // last.
  const int bits = 7 - bar;
  const double level = bar == 0 ? form.white : form.colour;
  return {(bits & 2) != 0 ? level : 0.0, (bits & 4) != 0 ? level : 0.0, (bits & 1) != 0 ? level : 0.0};
}

}  // namespace linebench::standards
