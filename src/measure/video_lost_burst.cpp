#include "video_lost_burst.hpp"

#include <algorithm>
#include <cmath>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_colour.hpp>
#include <linebench/standards/video_lines.hpp>

namespace linebench::measure {
namespace {

constexpr double from_us = 9.5;  // picture
constexpr double to_us = 62.0;
constexpr double stretch_us = 2.5;   // eight cycles and more, and two in a bar
constexpr double least_share = 0.3;  // of the standard's chrominance: more than noise or a filter's rest
constexpr double least_lines = 32;
constexpr int least_colours = 5;

std::size_t stretches() { return static_cast<std::size_t>((to_us - from_us) / stretch_us); }

}  // namespace

LostBurstMeter::LostBurstMeter(const VideoSetup& setup, const PictureMeter& picture) : picture_(picture) {
  const double hz = standards::standard_of(setup.lines).subcarrier_hz.value();
  if (!setup.colour && setup.numbered && hz < 0.45 * setup.rate_hz) hz_ = hz;
  power_.assign(stretches(), 0.0);
}

void LostBurstMeter::line(const LineView& v) {
  if (!(hz_ > 0) || v.line == 0 || v.kind != LineKind::Picture || !v.sync_found ||
      !v.covers(from_us, to_us) || !standards::row_of_line(standards::standard_of(v.setup->lines), v.line))
    return;
  for (std::size_t i = 0; i < power_.size(); ++i) {
    const double at = from_us + static_cast<double>(i) * stretch_us;
    power_[i] += std::norm(v.tone(hz_, at, at + stretch_us));
  }
  lines_ += 1;
}

double LostBurstMeter::tone_in(double from, double to) const {
  double sum = 0, n = 0;
  for (std::size_t i = 0; i < power_.size(); ++i) {
    const double at = from_us + static_cast<double>(i) * stretch_us;
    if (at < from || at + stretch_us > to) continue;
    sum += power_[i];
    n += lines_;
  }
  return n > 0 ? std::sqrt(sum / n) : -1;
}

// Colour is where bars have it and not on white and black: a tone from outside is everywhere.
void LostBurstMeter::finish(const VideoSetup& setup, Readings& out) {
  const KnownLine* k = picture_.known().find([](const KnownLine& x) { return x.bars.has_value(); });
  const auto burst = std::ranges::find(out, std::string("video.burst.amplitude"), &Reading::id);
  if (!(hz_ > 0) || lines_ < least_lines || k == nullptr || burst == out.end()) return;
  const standards::VideoStandard& s = standards::standard_of(setup.lines);
  const FoundBars& f = *k->bars;
  int colours = 0;
  double weakest = 1e9, beside = 0;
  for (int i = 0; i < 8; ++i) {
    const auto& bar = f.bars[static_cast<std::size_t>(i)];
    const double found = bar ? tone_in(bar->from_us, bar->to_us) : -1;
    if (found < 0) continue;
    if (i == 0 || i == 7) {
      beside = std::max(beside, found);
      continue;
    }
    const double sent =
        0.5 * setup.gain() * standards::composite_colour(s, standards::bar_rgb(f.form, i)).chroma_pp_mv;
    if (found < least_share * sent) return;
    weakest = std::min(weakest, found);
    ++colours;
  }
  if (colours < least_colours || beside > 0.5 * weakest) return;
  *burst =
      unmeasurable("video.burst.amplitude",
                   "no colour burst was found, though colours stand in the bars: the burst alone is lost; "
                   "look at what inserts it, or at a clamp or blanking stage that takes it out");
  out.push_back(text_reading("video.burst.lost", "yes"));
}

}  // namespace linebench::measure
