#include "picture_noise.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/measure/statistics.hpp>
#include <numeric>

namespace linebench::measure {

namespace {

using BlockSums = PictureNoiseMeter::BlockSums;

constexpr int px = 32;
constexpr double most_jitter_px = 3.5;  // of lines, up to which edges stay clear of the level parts

LINEBENCH_VECTORISED void row_differences(const std::uint8_t* a, const std::uint8_t* b, int blocks,
                                          BlockSums* out) {
  for (int k = 0; k < blocks; ++k) {
    int s = 0;
    int q = 0;
    for (int i = 0; i < px; ++i) {
      const int d = a[px * k + i] - b[px * k + i];
      s += d;
      q += d * d;
    }
    out[k] = {s, q};
  }
}

LINEBENCH_VECTORISED std::uint64_t count_ends(const std::uint8_t* y, std::size_t n) {
  std::uint64_t all = 0;
  for (std::size_t at = 0; at < n;) {
    std::uint8_t some = 0;  // at most 255 before it would overflow
    const std::size_t end = std::min(n, at + 255);
    for (; at < end; ++at)
      some = static_cast<std::uint8_t>(some + (static_cast<std::uint8_t>(y[at] + 2) <= 3));
    all += some;
  }
  return all;
}

// Variance that whole codes show of noise sigma, its level anywhere between codes: sigma^2 + 1/12 where noise
// dithers; less where it does not reach the next code. From the sawtooth's Fourier series.
double rounded_variance(double sigma) {
  double v = sigma * sigma + 1.0 / 12;
  const double pi2 = 9.8696044;
  for (int m = 1; m <= 60; ++m) {
    const double e = std::exp(-2 * pi2 * m * m * sigma * sigma);
    v -= e * e / (2 * pi2 * m * m);  // the mean's own swing over all levels
    if (e < 1e-6) break;
  }
  return v;
}

// Mean of blocks' variances from their tenth and their middle, as if of noise alone: a chi-squared, of fewer
// degrees of freedom where noise is of a narrow band [Wilson-Hilferty]. What moves lifts the mean more.
double mean_by_quantiles(double tenth, double middle) {
  constexpr double z = 1.2816;
  const double a = 1 - std::cbrt(std::clamp(tenth / middle, 0.0, 1.0));
  if (a < 1e-6) return middle;
  const double s = (std::sqrt(z * z + 4 * a * a) - z) / (2 * a);
  return middle / std::pow(1 - s * s, 3);
}

// The reverse, by halving.
double sigma_from_rounded(double variance) {
  double lo = 0;
  double hi = std::sqrt(variance) + 0.5;
  for (int i = 0; i < 50; ++i) {
    const double mid = 0.5 * (lo + hi);
    (rounded_variance(mid) < variance ? lo : hi) = mid;
  }
  return 0.5 * (lo + hi);
}

}  // namespace

// Jitter makes noise of edges: only blocks are looked at that hold little of them.
PictureNoiseMeter::PictureNoiseMeter(const PictureSetup& setup)
    : PictureNoiseMeter(setup, level_parts(setup)) {}

PictureNoiseMeter::PictureNoiseMeter(const PictureSetup& setup, LevelParts parts)
    : setup_(setup),
      clear_px_(parts.clear_px),
      grey_(setup, std::move(parts.grey)),
      coloured_(setup, std::move(parts.coloured)),
      sway_(setup, px) {
  const int w = setup.width();
  std::vector<float> edges;
  for (int r = 0; r < setup.height(); ++r) {
    const float* row = setup.mean.data() + static_cast<std::ptrdiff_t>(r) * w;
    for (int b = 0; b < w / px; ++b) {
      float sum = 0, squares = 0;
      for (int x = std::max(1, px * b); x < std::min(w - 1, px * (b + 1)); ++x) {
        const float slope = (row[x + 1] - row[x - 1]) / 2;
        sum += slope;
        squares += slope * slope;
      }
      edges.push_back((squares - sum * sum / px) / (px - 1));
    }
  }
  if (edges.empty()) return;
  // Where codes end noise is cut off.
  std::vector<bool> whole(edges.size(), true);
  if (!setup.held.empty()) {
    std::size_t at = 0;
    for (int r = 0; r < setup.height(); ++r)
      for (int b = 0; b < w / px; ++b, ++at)
        for (int i = 0; i < px / block_px; ++i)
          whole[at] = whole[at] && !setup.held_at(r, px / block_px * b + i);
    held_ = std::count(whole.begin(), whole.end(), true) < static_cast<std::ptrdiff_t>(whole.size() / 32);
    if (held_) whole.assign(whole.size(), true);
  }
  std::vector<float> sorted;
  for (std::size_t i = 0; i < edges.size(); ++i)
    if (whole[i]) sorted.push_back(edges[i]);
  const float third = dsp::quantile(sorted, 1.0 / 3);
  const auto noise = static_cast<float>(setup.mean_noise * setup.mean_noise / 2);
  const float limit = std::max(third, 2 * noise + 0.05F);
  for (std::size_t i = 0; i < edges.size(); ++i) {
    const float e = edges[i];
    level_.push_back(whole[i] && e <= limit ? 1 : 0);
    if (level_.back() == 0) continue;
    slope_square_ += static_cast<double>(e - noise);
    ++level_blocks_;
  }
  slope_square_ = std::max(0.0, slope_square_ / static_cast<double>(std::max<std::size_t>(1, level_blocks_)));
}

void PictureNoiseMeter::push(const PictureView& view) {
  const std::size_t n = view.frame->y.size();
  ++frames_;
  if (view.frame->corrupt) ++corrupt_;
  at_ends_ += count_ends(view.frame->y.data(), n);
  pixels_ += n;
  if (!view.frame->corrupt && (view.previous == nullptr || view.frame->y != view.previous->y)) {
    grey_.push(*view.frame);
    coloured_.push(*view.frame);
  }
  if (view.previous == nullptr) {
    last_number_ = view.frame->number;
    return;
  }
  if (view.frame->number > last_number_ + 1 + view.skipped) {
    lost_ += view.frame->number - last_number_ - 1 - view.skipped;
    ++gaps_;
  }
  last_number_ = view.frame->number;
  const int w = setup_.width();
  const int blocks = w / px;
  std::vector<BlockSums> sums(static_cast<std::size_t>(blocks));
  variance_.clear();
  whole_.clear();
  std::vector<float> row(sums.size());
  std::uint64_t total = 0;
  for (int r = 0; r < setup_.height(); ++r) {
    const auto at = static_cast<std::size_t>(r * w);
    row_differences(view.frame->y.data() + at, view.previous->y.data() + at, blocks, sums.data());
    const std::uint8_t* level = level_.data() + static_cast<std::ptrdiff_t>(r) * blocks;
    for (std::size_t b = 0; b < sums.size(); ++b) {
      const BlockSums& s = sums[b];
      total += static_cast<std::uint64_t>(s.squares);
      row[b] = (static_cast<float>(s.squares) - static_cast<float>(s.sum * s.sum) / px) / (2.0F * (px - 1));
      if (level[b] == 0) continue;
      variance_.push_back(row[b]);
      whole_.push_back(static_cast<float>(s.squares) / (2.0F * px));
    }
    compare_means(sums, row, level);
    look_at_detail(row, static_cast<std::size_t>(r) * row.size(), view.index / 2);
  }
  if (total == 0 && view.frame->y == view.previous->y) {
    ++equal_;
    longest_ = std::max(longest_, ++run_);
    return;
  }
  run_ = 0;
  if ((view.frame->number > 0 && view.frame->corrupt) || variance_.empty()) return;
  // Rows of blanking that the grabber fills in are free of noise.
  float middle = dsp::quantile(variance_, 0.5);
  if (middle > 0.5F && std::erase_if(variance_, [&](float v) { return v < 0.15F * middle; }) > 0)
    middle = dsp::quantile(variance_, 0.5);
  // Level parts of a standing picture make up the lower half, which the median has put before it; the mean of
  // what lies near the median is theirs.
  const float quiet = dsp::quantile(std::span(variance_).first(variance_.size() / 2 + 1), 0.2);
  // Of noise alone (chi-squared, 31 degrees of freedom) the tenth lies at 0.69 of the middle. Where it lies
  // far lower most of the picture moves, and only its quietest parts tell of noise.
  const bool moves = quiet < 0.6F * middle;
  moving_ += moves ? 1 : 0;
  if (moves || view.index % 8 == 1) {
    ++looked_;
    const double detail = quiet_detail(view.frame->y.data(), w, setup_.height(), setup_.held);
    if (static_cast<double>(quiet) / 0.69 > 1.6 * detail * detail + 0.1) ++nowhere_still_;
    most_ = std::max(most_, static_cast<double>(dsp::quantile(whole_, 0.5)));
  }
  const float limit = 2.4F * (moves ? quiet / 0.69F : middle) + 0.02F;
  double sum = 0;
  std::uint64_t count = 0;
  for (const float v : variance_) {
    if (v > limit) continue;
    sum += static_cast<double>(v);
    ++count;
  }
  if (count == 0) return;
  limit_ = limit;
  const std::size_t g = (view.index / 2) % groups;
  sum_[g] += sum / static_cast<double>(count);
  ++count_[g];
  blocks_ += count;
  by_quantiles_ += mean_by_quantiles(static_cast<double>(quiet), static_cast<double>(middle));
}

void PictureNoiseMeter::look_at_detail(std::span<const float> variance, std::size_t first_block,
                                       std::size_t group) {
  if (limit_ <= 0) return;
  for (std::size_t b = 0; b < variance.size(); ++b) {
    const bool filled_in = limit_ > 1.2F && variance[b] < 0.06F * limit_;
    if (level_[first_block + b] != 0 && variance[b] <= limit_ && !filled_in)
      sway_.add(first_block + b, variance[b], group);
  }
}

// Noise of a narrow band moves whole blocks, which their own variance does not show. Neighbours in a row tell
// it; hum and flicker move both alike.
void PictureNoiseMeter::compare_means(std::span<const BlockSums> row, std::span<const float> variance,
                                      const std::uint8_t* level) {
  if (limit_ <= 0) return;
  for (std::size_t b = 0; b + 1 < row.size(); b += 2) {
    const auto [least, within] = std::minmax(variance[b], variance[b + 1]);
    const bool filled_in = limit_ > 1.2F && least < 0.06F * limit_;  // blanking, without noise
    if (within > limit_ || filled_in || level[b] == 0 || level[b + 1] == 0) continue;
    const auto d = static_cast<float>(row[b].sum - row[b + 1].sum);
    const float of_mean = d * d / (4.0F * px * px);
    // White noise would give within / px on average; what is far beyond is something that moves.
    if (of_mean > 25 * limit_ / px) continue;
    mean_sum_ += static_cast<double>(of_mean);
    ++mean_count_;
  }
}

// Why level parts, or what stands in for them, hold edges as well.
std::string PictureNoiseMeter::edges_come_in(const Sideways& lines) const {
  if (setup_.pattern.kind == PatternKind::Crosshatch) {
    const double reach = 3 * lines.jitter + lines.tear;
    if (reach > (grey_.measured() ? clear_px_ : 0.3))
      return "lines are pulled so far aside that the grid's uprights come where its noise is looked for; "
             "send "
             "a flat field or bars";
  } else if (grey_.measured() && lines.jitter > most_jitter_px) {
    return "lines jitter so far that edges come into the level parts; cure the jitter first";
  }
  return {};
}

void PictureNoiseMeter::finish(bool rolling, const Sideways& lines, Readings& out) {
  const bool compared = std::any_of(count_.begin(), count_.end(), [](std::uint64_t n) { return n > 0; });
  if (!compared || rolling) {
    refuse(rolling       ? "the picture rolls, so frames cannot be compared"
           : frames_ < 2 ? "one frame only; noise is told from frame to frame, take several"
                         : "the frames are all equal, so there is nothing to tell noise from",
           std::nullopt, out);
  } else if (const std::string why = edges_come_in(lines); !why.empty()) {
    refuse(why, std::nullopt, out);
  } else if (grey_.measured()) {
    finish_by_level_parts(out);
  } else {
    finish_by_blocks(lines.jitter, out);
  }
  shared(rolling || !compared ? "frames cannot be compared" : edges_come_in(lines), out);
  repeated_and_lost(out);
  clipped(out);
}

// What rows share, and what stands still: neither is in the noise within rows.
void PictureNoiseMeter::shared(std::string why_not, Readings& out) const {
  constexpr const char* rows = "picture.noise.rows";
  constexpr const char* fixed = "picture.noise.fixed";
  std::string why = std::move(why_not);
  if (!grey_.measured())
    why = "no test picture with level parts is seen; send a flat field or bars";
  else if (why.empty() && setup_.format.lossy)
    why = "a lossy coder takes it away or makes it; take it in as YUYV";
  if (!why.empty()) {
    for (const char* id : {rows, fixed}) out.push_back(unmeasurable(id, why));
    return;
  }
  const SharedNoise s = grey_.shared();
  // Whole codes without noise to dither them show hum as rows that step, and slopes as patterns.
  const double rounding = std::min(1.0, std::exp(-2 * 9.8696 * noise_ * noise_)) / 12;
  constexpr double least = 0.1;
  const auto tell = [&](const char* id, double variance, double u_count, const char* remark,
                        const char* without) {
    const double u = u_count + rounding;
    const double v = std::sqrt(std::max(0.0, variance));
    const double most = std::sqrt(v * v + u);
    if (variance > std::max(1.5 * u, least * least))
      out.push_back(number_reading(id, v, u / (2 * v), remark));
    else
      out.push_back(unmeasurable(id, fmt::format("less than {:.2f} codes{}", most, without), most));
  };
  if (s.rows)
    tell(rows, *s.rows, s.rows_u, "whole rows alike, new in each frame, as streaks", "");
  else
    out.push_back(unmeasurable(rows, "one level part only; send a flat field or bars"));
  tell(fixed, s.stands, s.stands_u,
       "the same in each frame; not of whole rows or columns, which picture has too",
       "; whole rows or columns that stand are not told from picture");
}

void PictureNoiseMeter::refuse(const std::string& why, std::optional<double> most, Readings& out) {
  out.push_back(unmeasurable("picture.noise", why, most));
  out.push_back(unmeasurable("picture.snr", why));
  noise_ = 0;
}

// Of a test picture it is known which parts are level and that nothing moves.
void PictureNoiseMeter::finish_by_level_parts(Readings& out) {
  const LevelNoise grey = grey_.result();
  Told told{grey.variance, grey.u, 0, "on level parts of the test picture; rounding to codes taken out"};
  if (grey.smoothed) {
    told.how += fmt::format(
        "; by the spread within frames: from one frame to the next it is {:.2f} codes only, as behind "
        "temporal "
        "noise reduction",
        sigma_from_rounded(grey.next_frame));
  }
  double at_edges = grey.at_edges;
  if (coloured_.measured()) {
    const LevelNoise coloured = coloured_.result();
    at_edges = std::max(at_edges, coloured.at_edges);
    if (coloured.variance > 1.3 * grey.variance + coloured.u + grey.u)
      told.how += fmt::format(
          "; of the bars without colour: those with it hold {:.2f} codes, as of a subcarrier that the "
          "decoder "
          "leaves in luma",
          sigma_from_rounded(coloured.variance));
  }
  tell(told, out);
  noise_at_edges_ = std::sqrt(std::max(0.0, at_edges - 1.0 / 12));
}

void PictureNoiseMeter::finish_beside_tone(double variance, double u, bool at_most, Readings& out) {
  std::erase_if(out, [](const Reading& r) { return r.id == "picture.noise" || r.id == "picture.snr"; });
  for (Reading& r : out)
    if (r.measured() && (r.id == "picture.noise.rows" || r.id == "picture.noise.fixed"))
      r = unmeasurable(r.id, "the steady tone on the picture shows in it");
  if (at_most) {
    const double most = std::sqrt(1.1 * variance + u);
    return refuse(
        fmt::format("a tone that wanders lies on the picture, which hides noise below {:.1f} codes; "
                    "find its source first",
                    most),
        most, out);
  }
  tell({variance, u, 0.005, "beside the steady tone, which has readings of its own"}, out);
}

void PictureNoiseMeter::finish_by_blocks(double jitter_px, Readings& out) {
  std::vector<double> each;
  double mean = 0;
  for (std::size_t g = 0; g < groups; ++g) {
    if (count_[g] == 0) continue;
    each.push_back(sum_[g] / static_cast<double>(count_[g]));
    mean += each.back();
  }
  mean /= static_cast<double>(each.size());
  // More than noise can make of its own blocks is motion in some of them: it goes, and is half in doubt.
  const auto pairs = static_cast<double>(std::accumulate(count_.begin(), count_.end(), std::uint64_t{0}));
  const bool moving = 4 * moving_ > frames_;
  const double alone = by_quantiles_ / pairs;
  const double excess = moving ? 0 : mean / alone - 1;
  const bool mixed = std::abs(excess) > 0.002 + 0.02 / std::sqrt(pairs);
  if (mixed && excess > 0) {
    for (double& v : each) v *= alone / mean;
    mean = alone;
  }
  const double white = mean;
  const double whole =
      mean_count_ > 1000
          ? mean * (px - 1) / px + std::min(mean_sum_ / static_cast<double>(mean_count_), 0.15 * mean)
          : mean;
  // What lines that jitter make of the slopes in these blocks: no more than what goes with detail there,
  // since of the blocks those with most of it were left out.
  const SwayFit::Share all = sway_.all();
  const bool fitted = all.variance > 0 || all.u > 0;
  const double by_jitter = std::min(jitter_px * jitter_px * slope_square_, 0.9 * whole);
  const double jittered = fitted ? std::clamp(all.variance, 0.0, by_jitter) : by_jitter;
  for (double& v : each) v *= (whole - jittered) / mean;
  mean = whole - jittered;
  double scatter = 0;
  for (const double v : each) scatter += (v - mean) * (v - mean);
  const auto n = static_cast<double>(each.size());
  // Squares of so many differences, of which neighbours share a frame; what groups scatter by counts where
  // they are enough.
  const double by_count = 2 * std::sqrt(3.0 / ((px - 1) * static_cast<double>(blocks_)));
  const double u_variance =
      std::max(by_count * mean, n > 3 ? coverage_factor(n - 1) * std::sqrt(scatter / (n - 1) / n) : 0.0);
  // Of a narrow band more stands in the blocks' means; light that changes moves those too, and more besides.
  const double u_band = 1.5 * std::abs(whole - white);
  if (setup_.nowhere_still || 2 * nowhere_still_ > looked_) {
    // Slow noise looks like motion too, so all that changes counts; its median lies below its mean.
    const double most = std::sqrt(1.4 * most_);
    return refuse(
        fmt::format("all of the picture moves, which hides noise below {:.1f} codes; hold the camera still",
                    most),
        most, out);
  }
  if (jittered + all.u > 0.3 * whole) {
    const double most = std::sqrt(1.1 * whole);
    return refuse(
        fmt::format(
            "lines jitter, which hides noise below {:.1f} codes; cure the jitter first, or send bars or "
            "a grey field",
            most),
        most, out);
  }
  if (held_) {
    refuse(
        "all of the picture stands where its codes end, which cuts noise off; send a grey field or bars of "
        "75 %",
        std::nullopt, out);
    noise_ = sigma_from_rounded(std::max(0.0, mean));
    return;
  }
  // What goes with the picture's detail is no noise: a camera that sways, light that flickers.
  const SwayFit::Share up_and_down = sway_.vertical();
  sways_ = up_and_down.variance > 0.01 * whole + 2 * up_and_down.u;
  if (sways_ && all.variance + whole - white > 0.08 * whole) {
    const double most = std::sqrt(1.4 * most_);
    return refuse(fmt::format("the camera sways, which hides noise below {:.1f} codes; hold it still", most),
                  most, out);
  }
  if (sways_ || all.variance > jittered + 0.01 * whole + all.u) {
    // It moves blocks' means as well, which narrow noise does too: what is left of those is in doubt.
    return tell({white - all.variance, std::hypot(u_variance, whole - white, 1.5 * all.variance), 0.02,
                 sways_ ? "the camera sways; what that makes of the picture's detail is taken out"
                        : "what goes with the picture's detail (light that changes) is taken out"},
                out);
  }
  const double u_jitter = 0.2 * jittered / std::max(0.05, mean);
  const double u_mixed = mixed ? 0.5 * std::abs(excess) : 0;
  // Noise that a decoder smooths over frames, or something slow everywhere: which of them frames do not tell.
  const bool slow = setup_.apart > 1.04;
  const double u_slow = slow ? 1.5 * (setup_.apart - 1) : 0;
  std::string how = moving ? "from the quietest parts of a picture that moves"
                           : "from frame to frame, in parts that stand still; rounding to codes taken out";
  if (slow)
    how += fmt::format(
        "; frames five apart differ {:.0f} % more than neighbours do, as behind temporal noise reduction or "
        "of "
        "slow motion: send bars or a grey field to tell noise by one frame",
        100 * (setup_.apart - 1));
  tell({mean, std::hypot(u_variance, u_band, 2 * std::max(0.0, all.variance - jittered) + all.u),
        std::hypot(std::hypot(u_jitter, u_mixed), u_slow, moving ? 0.1 : 0.001), how},
       out);
}

void PictureNoiseMeter::tell(const Told& given, Readings& out) {
  Told told = given;
  double most = 0.5;
  if (setup_.format.through_rgb) {
    // A coder with tables of whole codes leaves codes out, which adds 0 to 1.3 codes squared: ffmpeg's, at
    // levels of 40 to 220, noise of 0.5 to 3 codes. One that rounds well adds nothing.
    most = std::max(most, std::sqrt(told.variance));
    told.variance = std::max(0.0, told.variance - 0.4);
    told.u_variance = std::hypot(told.u_variance, 0.8);
    told.how += "; what whole codes of RGB on the way may add is in the uncertainty, take it in as YUYV";
  }
  noise_ = sigma_from_rounded(std::max(0.0, told.variance));
  // Noise of less, its level halfway between codes, shows as much as 0.41 codes; noise of 0.5 shows 0.48
  // or more wherever its level lies.
  if (noise_ < 0.45) {
    const double kept = noise_;
    if (setup_.format.lossy) {
      refuse("a lossy coder takes weak noise away; take it in as YUYV", std::nullopt, out);
    } else {
      const std::string why = "less than whole codes of 8 bits can show";
      out.push_back(unmeasurable("picture.noise", why, most));
      out.push_back(unmeasurable("picture.snr",
                                 why + fmt::format("; better than {:.0f} dB", 20 * std::log10(219 / most))));
    }
    noise_ = kept;
    return;
  }
  const double slope = (rounded_variance(noise_ + 0.01) - rounded_variance(noise_ - 0.01)) / 0.02;
  const double u_told = told.u_variance / std::max(0.05, slope);
  // What the level's place between codes does to noise that hardly reaches the next one: the variance
  // swings about its mean by exp(-2 pi^2 s^2) (4 s^2 + 1/pi^2), from the sawtooth's Fourier series.
  const double swing = std::exp(-2 * 9.8696 * noise_ * noise_) * (4 * noise_ * noise_ + 1 / 9.8696);
  const double u_rounding = 0.7 * swing / noise_;
  const double u = std::hypot(u_told, u_rounding, told.u * noise_);
  out.push_back(number_reading("picture.noise", noise_, u, told.how));
  out.push_back(number_reading("picture.snr", 20 * std::log10(219 / noise_), 8.686 * u / noise_));
}

}  // namespace linebench::measure
