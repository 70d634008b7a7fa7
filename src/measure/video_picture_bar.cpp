// video.line_tilt; video.white from a bar
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "video_picture.hpp"

namespace linebench::measure {
namespace {

constexpr double bar_margin_us = 1.0;  // left out at each end of the bar [J.61, from memory]
constexpr double tilt_smooth_us = 0.8;

void line_tilt(const KnownLines& known, const KnownLine* k, Readings& out) {
  if (k == nullptr) {
    out.push_back(
        unmeasurable("video.line_tilt",
                     "no white bar with black on both sides in the picture; send a pulse and bar or a "
                     "window"));
    return;
  }
  const FoundBar& b = *k->bar;
  const double from = b.top.edge_from_us + bar_margin_us;
  const double to = b.top.edge_to_us - bar_margin_us;
  const Values v = values_of(known.replicates_of(*k), [&](const AveragedLine& a) {
    const double height = bar_height_mv(a, b);
    const auto first = static_cast<std::size_t>(std::ceil((from - a.from_us) / a.step_us));
    const auto last = static_cast<std::size_t>(std::floor((to - a.from_us) / a.step_us));
    const auto width = std::max<std::size_t>(3, static_cast<std::size_t>(tilt_smooth_us / a.step_us));
    // A straight line through each short stretch; at the outermost its value at the very end.
    std::vector<double> x;
    const double half = 0.5 * static_cast<double>(width - 1);
    if (first + width > last) return std::vector<double>{std::nan("")};
    for (std::size_t i = first; i + width <= last; i += width / 2) {
      const auto [mean, slope] = straight(a.luma, i, width);
      if (i == first) x.push_back(100 * (mean - half * slope) / height);
      x.push_back(100 * mean / height);
    }
    const auto [mean, slope] = straight(a.luma, last + 1 - width, width);
    x.push_back(100 * (mean + half * slope) / height);
    return x;
  });
  const auto e = figure(v, range_of);
  out.push_back(e ? number_reading("video.line_tilt", std::max(0.0, e->value), together(e->u, 0.04),
                                   fmt::format("on a bar of {:.1f} us", b.top.width_us()))
                  : unmeasurable("video.line_tilt", "too few lines of the bar; take a longer capture"));
}

// A bar is a better white than the brightest part of whatever picture there is.
void white(const KnownLines& known, const VideoSetup& setup, const KnownLine* bar, Readings& out) {
  const Plateau* top = nullptr;
  const KnownLine* k = bar;
  std::string remark = "top of the white bar";
  if (bar != nullptr) {
    top = &bar->bar->top;
  } else {
    k = known.find([](const KnownLine& x) { return x.bars && x.bars->bars[0]; });
    if (k == nullptr) return;
    top = &*k->bars->bars[0];
    remark = fmt::format("white of the colour bars, {:.0f} % white", 100 * k->bars->form.white);
  }
  const double middle = 0.5 * (top->edge_from_us + top->edge_to_us);
  const double half = 0.3 * top->width_us();
  const auto e = value_at(values_of(known.replicates_of(*k),
                                    [&](const AveragedLine& a) {
                                      return std::vector<double>{a.level(middle - half, middle + half)};
                                    }),
                          0);
  if (!e) return;
  const double floor = together(0.0001 * e->value + 0.02 * setup.gain() + 0.03 * setup.quantum_mv,
                                setup.wander_of(k->content->lines));
  Reading fresh = number_reading("video.white", e->value, together(e->u, floor), remark);
  for (Reading& r : out) {
    if (r.id != "video.white") continue;
    r = std::move(fresh);
    return;
  }
  out.push_back(std::move(fresh));
}

}  // namespace

double bar_height_mv(const AveragedLine& a, const FoundBar& b) {
  const double middle = 0.5 * (b.top.edge_from_us + b.top.edge_to_us);
  const double half = std::min(2.0, 0.2 * b.top.width_us());
  return a.level(middle - half, middle + half) - a.level(b.base_from_us, b.base_to_us);
}

void read_bar(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  const KnownLine* bar = known.find([](const KnownLine& x) { return x.bar.has_value(); });
  line_tilt(known, bar, out);
  white(known, setup, bar, out);
}

}  // namespace linebench::measure
