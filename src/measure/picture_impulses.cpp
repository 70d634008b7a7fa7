#include "picture_impulses.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/dsp/vectorised.hpp>

namespace linebench::measure {
namespace {

constexpr const char* id = "picture.impulses";
constexpr int beside = 16;      // px to what a point is compared with: longer is no point
constexpr int clear_by = 22;    // px from the picture's own edges, which may jitter
constexpr double level_by = 6;  // codes, within which the standing picture is level
constexpr int least_codes = 16;
constexpr double stands_out = 7;       // times the noise: none of 1e8 samples by chance
constexpr double least_looked = 0.05;  // of the picture
constexpr double most_share = 0.05;    // of samples: beyond, it is no sparkle
constexpr double none_seen = 3;        // of as many as would be missed once in twenty times [Poisson]

// 255 for each sample by which a row stands out of both of those beside it, to the same side; in bytes
// throughout, which is four times as fast as in whole numbers. @return whether there is any
LINEBENCH_VECTORISED bool points(const std::uint8_t* y, const std::uint8_t* level, int n, std::uint8_t least,
                                 std::uint8_t* out) {
  std::uint8_t any = 0;
  for (int i = 0; i < n; ++i) {
    const std::uint8_t a = y[i - beside], b = y[i + beside], c = y[i];
    const std::uint8_t high = a > b ? a : b, low = a > b ? b : a;
    const auto above = static_cast<std::uint8_t>(c > high ? c - high : 0);
    const auto below = static_cast<std::uint8_t>(low > c ? low - c : 0);
    const std::uint8_t by = above > below ? above : below;
    const std::uint8_t hit = by >= least ? level[i] : std::uint8_t{0};
    out[i] = hit;
    any = static_cast<std::uint8_t>(any | hit);
  }
  return any != 0;
}

// Samples of a line that have nothing but level picture about them, 255; those compared with stand on the
// picture too.
std::vector<std::uint8_t> level_samples(const PictureSetup& s, const std::vector<double>& line) {
  std::vector<std::uint8_t> level(line.size(), 0);
  const int first = std::max(clear_by, s.first_col + beside);
  const int last = std::min(s.width() - clear_by, s.last_col - beside);
  for (int x = first; x < last; ++x) {
    const auto [least, greatest] =
        std::minmax_element(line.begin() + x - clear_by, line.begin() + x + clear_by + 1);
    level[static_cast<std::size_t>(x)] = *greatest - *least <= level_by ? 255 : 0;
  }
  return level;
}

}  // namespace

PictureImpulseMeter::PictureImpulseMeter(const PictureSetup& s)
    : setup_(s),
      beyond_(static_cast<std::size_t>(s.width())),
      least_(std::max(least_codes, static_cast<int>(std::ceil(stands_out * s.frame_noise)))) {
  const auto w = static_cast<std::size_t>(s.width());
  level_.assign(s.mean.size(), 0);
  if (!s.rows_alike()) return;
  // Points lie on the mean of few frames too; a band's line is the mean of many rows besides.
  std::vector<std::vector<std::uint8_t>> of_bands;
  for (const PictureBand& band : s.bands) of_bands.push_back(level_samples(s, band.y));
  const int first = s.height() / 20, last = s.height() - 4;  // rows of blanking
  for (int r = first; r < last; ++r) {
    const int band = s.band_of_row[static_cast<std::size_t>(r)];
    if (band < 0) continue;
    std::ranges::copy(of_bands[static_cast<std::size_t>(band)],
                      level_.begin() + static_cast<std::ptrdiff_t>(static_cast<std::size_t>(r) * w));
  }
  looked_ = static_cast<std::uint64_t>(std::ranges::count(level_, 255));
}

void PictureImpulseMeter::push(const PictureView& view) {
  if (view.frame->corrupt || (view.previous != nullptr && view.frame->y == view.previous->y)) return;
  ++frames_;
  if (looked_ == 0) return;
  const auto least = static_cast<std::uint8_t>(std::min(least_, 255));
  const int inner = setup_.width() - 2 * beside;
  for (int r = 0; r < setup_.height(); ++r) {
    const auto at = static_cast<std::size_t>(r) * static_cast<std::size_t>(setup_.width()) + beside;
    if (!points(view.frame->y.data() + at, level_.data() + at, inner, least, beyond_.data())) continue;
    samples_ += static_cast<std::uint64_t>(std::count(beyond_.begin(), beyond_.begin() + inner, 255));
    seen_ += beyond_[0] != 0 ? 1 : 0;
    for (int i = 1; i < inner; ++i)
      seen_ += beyond_[static_cast<std::size_t>(i)] != 0 && beyond_[static_cast<std::size_t>(i - 1)] == 0;
  }
}

void PictureImpulseMeter::finish(const std::string& refused, Readings& out) const {
  std::string why = refused;
  if (!setup_.rows_alike())
    why = "no test picture is seen, and what moves in another looks the same; send a flat field or bars";
  else if (static_cast<double>(looked_) < least_looked * static_cast<double>(level_.size()))
    why = "too little of the picture is level and stands still; send a flat field or bars";
  else if (setup_.format.lossy)
    why = "a lossy coder smears points; take it in as YUYV";
  else if (frames_ == 0)
    why = "the frames are damaged";
  if (!why.empty()) {
    out.push_back(unmeasurable(id, why));
    return;
  }
  const double looked = static_cast<double>(frames_) * static_cast<double>(looked_);
  const double looked_s = looked / setup_.px_per_us * 1e-6;
  const std::string size =
      fmt::format("of {} codes and more, no longer than {:.1f} us", least_, beside / setup_.px_per_us);
  if (seen_ == 0) {
    out.push_back(unmeasurable(id, "none " + size, none_seen / looked_s));
    return;
  }
  const double share = static_cast<double>(samples_) / looked;
  if (share > most_share) {
    out.push_back(unmeasurable(id, fmt::format("{:.0f} % of the picture is hit: this is no sparkle but noise "
                                               "or another signal",
                                               100 * share)));
    return;
  }
  // One that stands where another is compared with hides it, or half of the time is hidden by it.
  const auto n = static_cast<double>(seen_);
  const double rate = n / looked_s * (1 + share);
  const double u = rate * std::hypot(2 / std::sqrt(n), 0.02, 2 * share);
  out.push_back(number_reading(id, rate, u, fmt::format("{:.0f} seen, {}", n, size)));
}

}  // namespace linebench::measure
