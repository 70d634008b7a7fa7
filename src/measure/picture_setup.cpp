// What a picture is, from its first frames: noise, whether it stands still, which rows show the same line.
#include <algorithm>
#include <cstdlib>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/standards/video.hpp>
#include <numeric>

#include "picture_clipping.hpp"
#include "picture_level_noise.hpp"
#include "picture_view.hpp"

namespace linebench::measure {
namespace {

using capture::Frame;

constexpr int noise_px = 32;
constexpr std::size_t most_lines = 48;  // a picture with more kinds of line is no pattern

LINEBENCH_VECTORISED void difference_sums(const std::uint8_t* a, const std::uint8_t* b, int n, int& sum,
                                          int& squares) {
  int s = 0;
  int q = 0;
  for (int i = 0; i < n; ++i) {
    const int d = a[i] - b[i];
    s += d;
    q += d * d;
  }
  sum = s;
  squares = q;
}

// Block means of a row of the mean image, 4 px each, its own mean taken out.
std::vector<float> signature(const PictureSetup& s, const float* row) {
  constexpr int px = 4;
  std::vector<float> v(static_cast<std::size_t>((s.last_col - s.first_col) / px));
  for (std::size_t i = 0; i < v.size(); ++i) {
    const float* p = row + s.first_col + px * static_cast<int>(i);
    v[i] = (p[0] + p[1] + p[2] + p[3]) / 4;
  }
  const float mean = std::accumulate(v.begin(), v.end(), 0.0F) / static_cast<float>(v.size());
  for (float& x : v) x -= mean;
  return v;
}

// Share of blocks that differ.
double mismatch(const std::vector<float>& a, const std::vector<float>& b, float tolerance) {
  std::size_t bad = 0;
  for (std::size_t i = 0; i < a.size(); ++i) bad += std::abs(a[i] - b[i]) > tolerance ? 1 : 0;
  return a.empty() ? 1.0 : static_cast<double>(bad) / static_cast<double>(a.size());
}

// The same when b is moved by `shift` blocks; what leaves at one side and comes in at the other changes the
// mean, so the level between the two is free.
double mismatch_moved(const std::vector<float>& a, const std::vector<float>& b, int shift, float tolerance) {
  const int n = static_cast<int>(a.size());
  std::vector<float> d;
  for (int i = std::max(0, shift); i < std::min(n, n + shift); ++i)
    d.push_back(a[static_cast<std::size_t>(i)] - b[static_cast<std::size_t>(i - shift)]);
  if (d.empty()) return 1.0;
  const float middle = dsp::median(d);
  const auto bad =
      std::count_if(d.begin(), d.end(), [&](float v) { return std::abs(v - middle) > tolerance; });
  return static_cast<double>(bad) / static_cast<double>(d.size());
}

// A row of the mean image without its level, by px.
std::vector<float> row_by_px(const PictureSetup& s, const float* row) {
  return {row + s.first_col, row + s.last_col};
}

float steepest(const std::vector<float>& v, std::size_t i) {
  const float before = i > 0 ? std::abs(v[i] - v[i - 1]) : 0;
  const float after = i + 1 < v.size() ? std::abs(v[i + 1] - v[i]) : 0;
  return std::max(before, after);
}

// Share of a line that stands out of its commonest level: of a grid its uprights alone.
double share_of_detail(const std::vector<float>& v, float tolerance) {
  const float middle = dsp::median(v);
  const auto out = std::ranges::count_if(v, [&](float x) { return std::abs(x - middle) > tolerance; });
  return static_cast<double>(out) / static_cast<double>(v.size());
}

// Share of px by which b is not a moved by whole px and up to half of one: where uprights are narrower than
// the blocks of a signature, these say nothing of moves by less than a block.
double mismatch_by_px(const std::vector<float>& a, const std::vector<float>& b, int shift, float tolerance) {
  const int n = static_cast<int>(a.size());
  const int from = std::max(0, shift), to = std::min(n, n + shift);
  const auto at = [](const std::vector<float>& v, int i) { return v[static_cast<std::size_t>(i)]; };
  std::vector<float> some;
  for (int i = from; i < to; i += 4) some.push_back(at(b, i) - at(a, i - shift));
  if (some.empty()) return 1;
  const float level = dsp::median(std::move(some));
  int bad = 0;
  for (int i = from; i < to; ++i) {
    const float off = std::abs(at(b, i) - at(a, i - shift) - level);
    if (off > tolerance && off > tolerance + 0.5F * steepest(a, static_cast<std::size_t>(i - shift))) ++bad;
  }
  return static_cast<double>(bad) / (to - from);
}

class Banding {
 public:
  explicit Banding(PictureSetup& s) : s_(s), tolerance_(static_cast<float>(std::max(4.0, 2.5 * s.noise))) {}

  void run() {
    const int h = s_.height();
    s_.band_of_row.assign(static_cast<std::size_t>(h), -1);
    s_.bent_row.assign(static_cast<std::size_t>(h), false);
    // From the middle to either end: tops are bent and bottoms torn, and must not set the measure.
    for (int first = 0; first < s_.fields; ++first) {
      const int middle = h / 2 / s_.fields * s_.fields + first;
      last_ = -1;
      sweep(middle, s_.fields);
      last_ = s_.band_of_row[static_cast<std::size_t>(middle)];
      sweep(middle - s_.fields, -s_.fields);
    }
    keep_large();
  }

 private:
  struct Line {
    std::vector<float> shape;  // of blocks
    std::vector<float> px;
    double level;
    int count = 0;
  };

  void sweep(int from, int step) {
    double before = 1e9;
    for (int r = from; r >= 0 && r < s_.height() && lines_.size() <= most_lines; r += step) {
      const float* row = s_.mean.data() + static_cast<std::size_t>(r) * static_cast<std::size_t>(s_.width());
      const double mean =
          std::accumulate(row + s_.first_col, row + s_.last_col, 0.0) / (s_.last_col - s_.first_col);
      place(r, row, mean, std::abs(mean - before) < 4 + 0.5 * s_.noise);
      before = mean;
    }
  }

  // Hum moves a row's level slowly from line to line of a field; a step is another line.
  void place(int r, const float* row, double level, bool level_goes_on) {
    const std::vector<float> shape = signature(s_, row);
    if (level_goes_on && last_ >= 0 && fits(last_, shape)) return take(r, last_, shape, pulled(last_, shape));
    for (int i = 0; i < static_cast<int>(lines_.size()); ++i) {
      const bool near = std::abs(lines_[static_cast<std::size_t>(i)].level - level) < 12 + s_.noise;
      if (near && fits(i, shape)) return take(r, i, shape, pulled(i, shape));
    }
    for (int i = 0; i < static_cast<int>(lines_.size()); ++i) {
      if (fits_bent(i, shape)) return take(r, i, shape, true);
    }
    lines_.push_back({shape, row_by_px(s_, row), level, 0});
    take(r, static_cast<int>(lines_.size()) - 1, shape, false);
  }
  bool fits(int line, const std::vector<float>& shape) {
    return mismatch(lines_[static_cast<std::size_t>(line)].shape, shape, tolerance_) < 0.15;
  }
  // The least that differs when the row is moved sideways, and not where it stands.
  double moved(int line, const std::vector<float>& shape) {
    double least = 1;
    for (int shift = 1; shift <= 9; ++shift)
      for (const int way : {shift, -shift})
        least = std::min(
            least, mismatch_moved(lines_[static_cast<std::size_t>(line)].shape, shape, way, tolerance_));
    return least;
  }
  // A row pulled sideways (tearing, flagging) shows the same line elsewhere.
  bool fits_bent(int line, const std::vector<float>& shape) {
    return lines_[static_cast<std::size_t>(line)].count >= 8 && moved(line, shape) < 0.1;
  }
  [[nodiscard]] bool moved_by_px(const Line& line, const Line& other) const {
    constexpr int reach = 24;
    const double detail =
        std::min(share_of_detail(line.px, 2 * tolerance_), share_of_detail(other.px, 2 * tolerance_));
    const double most = std::min(0.1, 0.25 * detail);
    for (int shift = -reach; shift <= reach; ++shift)
      if (mismatch_by_px(line.px, other.px, shift, tolerance_) < most) return true;
    return false;
  }
  // It fits where it stands, but better elsewhere.
  bool pulled(int line, const std::vector<float>& shape) {
    const double here = mismatch(lines_[static_cast<std::size_t>(line)].shape, shape, tolerance_);
    return here > 0.06 && moved(line, shape) < 0.6 * here;
  }
  void take(int r, int line, const std::vector<float>& shape, bool bent) {
    s_.band_of_row[static_cast<std::size_t>(r)] = line;
    s_.bent_row[static_cast<std::size_t>(r)] = bent;
    last_ = line;
    Line& l = lines_[static_cast<std::size_t>(line)];
    ++l.count;
    if (l.count < 16 && !bent) {
      const float k = 1.0F / static_cast<float>(l.count);
      for (std::size_t i = 0; i < shape.size(); ++i) l.shape[i] += k * (shape[i] - l.shape[i]);
    }
  }

  void keep_large() {
    const int h = s_.height();
    if (lines_.size() <= most_lines) join_moved();
    const std::vector<int> order = by_count();
    std::vector<int> renamed(lines_.size(), -1);
    if (lines_.size() <= most_lines) {
      for (const int i : order) {
        if (lines_[static_cast<std::size_t>(i)].count < h / 25 || s_.bands.size() >= 12) break;
        renamed[static_cast<std::size_t>(i)] = static_cast<int>(s_.bands.size());
        s_.bands.emplace_back();
      }
    }
    int banded = 0;
    for (int r = 0; r < h; ++r) {
      int& b = s_.band_of_row[static_cast<std::size_t>(r)];
      b = b >= 0 ? renamed[static_cast<std::size_t>(b)] : -1;
      if (b < 0) continue;
      s_.bands[static_cast<std::size_t>(b)].rows.push_back(r);
      ++banded;
    }
    s_.banded_share = static_cast<double>(banded) / h;
  }

  [[nodiscard]] std::vector<int> by_count() const {
    std::vector<int> order(lines_.size());
    std::iota(order.begin(), order.end(), 0);
    std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
      return lines_[static_cast<std::size_t>(a)].count > lines_[static_cast<std::size_t>(b)].count;
    });
    return order;
  }
  // Lines that are a commoner one's, pulled sideways, but were met before it was known well.
  void join_moved() {
    const std::vector<int> order = by_count();
    for (std::size_t i = 1; i < order.size(); ++i) {
      Line& small = lines_[static_cast<std::size_t>(order[i])];
      for (std::size_t k = 0; k < i; ++k) {
        if (small.count < 1) continue;
        if (!fits_bent(order[k], small.shape) &&
            !moved_by_px(lines_[static_cast<std::size_t>(order[k])], small))
          continue;
        lines_[static_cast<std::size_t>(order[k])].count += small.count;
        small.count = 0;
        for (std::size_t r = 0; r < s_.band_of_row.size(); ++r) {
          if (s_.band_of_row[r] != order[i]) continue;
          s_.band_of_row[r] = order[k];
          s_.bent_row[r] = true;
        }
      }
    }
  }

  PictureSetup& s_;
  float tolerance_;
  std::vector<Line> lines_;
  int last_ = -1;
};

void fill_band_lines(PictureSetup& s, std::span<const Frame> frames) {
  const auto w = static_cast<std::size_t>(s.width());
  for (PictureBand& b : s.bands) {
    b.y.assign(w, 0);
    b.cb.assign(w / 2, 0);
    b.cr.assign(w / 2, 0);
    std::size_t straight = 0;
    for (const int r : b.rows) straight += s.bent_row[static_cast<std::size_t>(r)] ? 0 : 1;
    const double k = 1.0 / static_cast<double>(std::max<std::size_t>(1, straight));
    for (const int r : b.rows) {
      if (s.bent_row[static_cast<std::size_t>(r)]) continue;
      const auto at = static_cast<std::size_t>(r) * w;
      for (std::size_t i = 0; i < w; ++i) b.y[i] += k * static_cast<double>(s.mean[at + i]);
      for (const Frame& f : frames) {
        const double kf = k / static_cast<double>(frames.size());
        for (std::size_t i = 0; i < w / 2; ++i) {
          b.cb[i] += kf * f.cb[at / 2 + i];
          b.cr[i] += kf * f.cr[at / 2 + i];
        }
      }
    }
  }
}

void fill_times(PictureSetup& s, const PictureOptions& options) {
  capture::FrameFormat& f = s.format;
  if (options.lines) f.lines = *options.lines;
  const auto& standard = f.lines == 525 ? standards::video_525_no_setup : standards::video_625;
  s.line_s = 1.0 / standard.line_rate_hz.value();
  s.field_s = 1.0 / standard.field_rate_hz();
  const double nominal = 1.0 / standard.frame_rate_hz();
  s.frame_s = 1.0 / f.frame_rate_hz;
  if (std::abs(s.frame_s / nominal - 1) < 2e-3) s.frame_s = nominal;  // 29.97 written for 30000/1001
  s.fields = f.height > 300 ? 2 : 1;
  // 704 are cut out of 720; any other width is scaled from one or the other, and nobody says from which.
  const bool scaled = f.width != 704 && f.width != 720;
  s.px_per_us = 13.5 * (scaled ? f.width / 712.0 : 1.0);
  s.px_per_us_u = scaled ? 8.0 / 712 : 0.0;
  const int margin = (f.width / 40 + block_px - 1) / block_px * block_px;
  s.first_col = margin;
  s.last_col = (f.width - margin) / block_px * block_px;
}

LINEBENCH_VECTORISED void add_frame(const std::uint8_t* y, std::size_t n, std::uint16_t* sum,
                                    std::uint8_t* least, std::uint8_t* greatest) {
  for (std::size_t i = 0; i < n; ++i) {
    sum[i] = static_cast<std::uint16_t>(sum[i] + y[i]);
    least[i] = std::min(least[i], y[i]);
    greatest[i] = std::max(greatest[i], y[i]);
  }
}

// Of five frames and more without the least and the greatest of each place, which may be specks.
std::vector<float> mean_of_frames(std::span<const Frame> frames) {
  constexpr std::size_t enough = 5, most = 256;  // whose sum fits
  frames = frames.first(std::min(frames.size(), most));
  const std::size_t n = frames.front().y.size();
  std::vector<std::uint16_t> sum(n, 0);
  std::vector<std::uint8_t> least(n, 255), greatest(n, 0);
  for (const Frame& f : frames) add_frame(f.y.data(), n, sum.data(), least.data(), greatest.data());
  const bool trim = frames.size() >= enough;
  const float k = 1.0F / static_cast<float>(frames.size() - (trim ? 2 : 0));
  std::vector<float> mean(n);
  for (std::size_t i = 0; i < n; ++i)
    mean[i] = k * static_cast<float>(sum[i] - (trim ? least[i] + greatest[i] : 0));
  return mean;
}

// On a test picture all that changes on its level parts is noise, of however narrow a band, or what a decoder
// leaves of the subcarrier: no motion.
void take_noise_of_test_picture(PictureSetup& s, std::span<const Frame> frames) {
  const LevelParts parts = level_parts(s);
  double largest = 0, in_frame = 0;
  for (const auto& p : {parts.grey, parts.coloured}) {
    LevelNoiseMeter meter(s, p);
    for (const Frame& f : frames) meter.push(f);
    if (!meter.measured()) continue;
    const LevelNoise n = meter.result();
    largest = std::max(largest, n.variance);
    in_frame = std::max(in_frame, n.in_frame);
  }
  s.noise = std::max(s.noise, std::sqrt(largest));
  s.frame_noise = std::sqrt(in_frame);
}

}  // namespace

void sum_blocks(const std::uint8_t* y, int width, int height, std::uint16_t* out) {
  const int blocks = width / block_px;
  for (int r = 0; r < height; ++r) {
    const std::uint8_t* row = y + static_cast<std::size_t>(r) * static_cast<std::size_t>(width);
    for (int b = 0; b < blocks; ++b) {
      const std::uint8_t* p = row + block_px * b;
      out[static_cast<std::size_t>(r * blocks + b)] =
          static_cast<std::uint16_t>(p[0] + p[1] + p[2] + p[3] + p[4] + p[5] + p[6] + p[7]);
    }
  }
}

LINEBENCH_VECTORISED int detail_squares(const std::uint8_t* a, int n) {
  int q = 0;
  for (int i = 0; i + 2 < n; ++i) {
    const int d = a[i + 2] - a[i];
    q += d * d;
  }
  return q;
}

// What was never noisy (blanking filled in by the grabber) says nothing, unless most of the picture is so.
template <typename T>
void leave_out_constant(std::vector<T>& v) {
  const auto zeros = std::count(v.begin(), v.end(), T{});
  if (2 * zeros < static_cast<std::ptrdiff_t>(v.size())) std::erase(v, T{});
}

// Noise by the blocks of which this share differs less.
double difference_noise(const Frame& a, const Frame& b, int width, int height, double share) {
  std::vector<float> variance;
  const int per_row = width / noise_px;
  variance.reserve(static_cast<std::size_t>(per_row * height));
  for (int r = 0; r < height; ++r) {
    for (int i = 0; i < per_row; ++i) {
      const auto at = static_cast<std::size_t>(r * width + i * noise_px);
      int sum = 0;
      int squares = 0;
      difference_sums(a.y.data() + at, b.y.data() + at, noise_px, sum, squares);
      variance.push_back((static_cast<float>(squares) - static_cast<float>(sum * sum) / noise_px) /
                         (noise_px - 1) / 2);
    }
  }
  leave_out_constant(variance);
  const float middle = dsp::quantile(variance, share);
  // Median or tenth of chi-squared with 31 degrees of freedom over its mean [Wilson-Hilferty].
  const double spread = 2.0 / (9 * (noise_px - 1));
  const double z = share < 0.5 ? -1.2816 : 0;
  return std::sqrt(static_cast<double>(middle) / std::pow(1 - spread + z * std::sqrt(spread), 3));
}

double quiet_detail(const std::uint8_t* y, int width, int height, std::span<const std::uint8_t> held) {
  std::vector<int> squares;
  const int per_row = width / noise_px;
  const auto whole = [&](int r, int i) {
    const auto from = held.begin() + r * (width / block_px) + i * (noise_px / block_px);
    return std::find(from, from + noise_px / block_px, 1) == from + noise_px / block_px;
  };
  for (int r = 0; r < height; ++r) {
    for (int i = 0; i < per_row; ++i)
      if (held.empty() || whole(r, i))
        squares.push_back(
            detail_squares(y + static_cast<std::ptrdiff_t>(r) * width + i * noise_px, noise_px));
  }
  leave_out_constant(squares);
  // All of it held: what is left of the noise must do.
  if (squares.empty()) return held.empty() ? 0 : quiet_detail(y, width, height, {});
  const int tenth = dsp::quantile(squares, 0.1);
  // Differences of noise, 30 in a block: a tenth of the blocks lie below 0.68 of their mean.
  return std::sqrt(tenth / 0.68 / (noise_px - 2) / 2);
}

PictureSetup make_picture_setup(std::span<const Frame> frames, const capture::FrameFormat& format,
                                const PictureOptions& options) {
  PictureSetup s;
  s.format = format;
  fill_times(s, options);
  if (frames.size() > 1) s.noise = difference_noise(frames[0], frames[1], s.width(), s.height());
  s.held = held_blocks(frames, s.format, s.noise);
  if (frames.size() > 1) {
    const double later = difference_noise(frames[0], frames.back(), s.width(), s.height());
    s.still = later < 1.3 * s.noise + 0.5;
    // Where all of the picture moves, frames differ by more than noise.
    const double detail = quiet_detail(frames[0].y.data(), s.width(), s.height(), s.held);
    // What stands still differs after five frames as it does after one.
    const auto quiet = [&](std::size_t frame) {
      return difference_noise(frames[0], frames[frame], s.width(), s.height(), 0.1);
    };
    if (frames.size() > 5) {
      const double next = quiet(1), apart = quiet(5);
      s.nowhere_still = !s.still && apart > 1.1 * next + 0.15;
      if (next > 0) s.apart = apart / next;
    }
    if (s.noise > (s.nowhere_still ? 1.0 : 1.4) * detail) {
      s.noise = detail;
      s.held = held_blocks(frames, s.format, s.noise);
    }
    s.noisy = frames[0].y != frames[1].y || frames[0].y != frames.back().y;
  }
  const auto mean_of = [&](std::span<const Frame> some) {
    s.mean = mean_of_frames(some);
    s.mean_of = some.size();
    s.mean_noise = std::sqrt((s.noise * s.noise + 0.083) / static_cast<double>(some.size()));
  };
  // A picture that rolls smears in the mean; then the first frame alone may still show its bands.
  bool recognised_over_time = false;
  for (const std::span<const Frame> some : {frames, frames.first(1)}) {
    mean_of(some);
    s.bands.clear();
    s.banded_share = 0;
    Banding(s).run();
    if (s.patterned() || some.size() == 1) {
      fill_band_lines(s, some);
      // Where most of a test picture is crushed or clipped its noise shows elsewhere only.
      const bool few = s.patterned() && frames.size() > 1;
      s.code_limits = code_limits(
          frames, few ? std::max(s.noise, difference_noise(frames[0], frames[1], s.width(), s.height(), 0.75))
                      : s.noise);
      s.pattern = recognise_pattern(s, options.signal);
      recognised_over_time = s.pattern.kind != PatternKind::None && some.size() > 1;
      if (s.pattern.kind != PatternKind::None || some.size() == 1) break;
    }
  }
  if (!s.patterned()) {
    s.bands.clear();
    std::fill(s.band_of_row.begin(), s.band_of_row.end(), -1);
    s.banded_share = 0;
    mean_of(frames);
  } else if (recognised_over_time && s.pattern.kind != PatternKind::Crosshatch) {
    take_noise_of_test_picture(s, frames);
  }
  s.frame_noise = std::max(s.frame_noise, s.noise);
  return s;
}

}  // namespace linebench::measure
