#include "video_rate.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace linebench::measure {
namespace {
constexpr std::size_t block_lines =
    1024;  // 65 ms: jitter faster than some 15 Hz counts, the recorder's drift does not
constexpr std::size_t least_block = 64;
}  // namespace

void RateMeter::line(const LineView& v) {
  if (!v.sync_found) return;
  if (n_ > 0 && v.index > last_index_ + 4096) close_run();
  if (n_ == 0) {
    first_edge_ = v.edge;
    first_index_ = v.index;
    period_guess_ = v.setup->line_period_samples;
  }
  last_index_ = v.index;
  const auto i = static_cast<double>(v.index - first_index_);
  const double t = v.edge - first_edge_ - i * period_guess_;
  if (n_ > 0 && std::abs(t - (st_ / n_)) > 0.3 * period_guess_) {  // the count is out of step: start afresh
    close_run();
    return;
  }
  n_ += 1;
  si_ += i;
  st_ += t;
  sii_ += i * i;
  sit_ += i * t;
  noise2_ += v.edge_noise * v.edge_noise;
  noise_n_ += 1;
  block_i_.push_back(i);
  block_t_.push_back(t);
  if (block_i_.size() == block_lines) close_block();
}

void RateMeter::close_block() {
  const auto n = static_cast<double>(block_i_.size());
  if (block_i_.size() >= least_block) {
    double si = 0;
    double st = 0;
    double sii = 0;
    double sit = 0;
    for (std::size_t k = 0; k < block_i_.size(); ++k) {
      const double i = block_i_[k] - block_i_[0];
      si += i;
      st += block_t_[k];
      sii += i * i;
      sit += i * block_t_[k];
    }
    const double slope = (n * sit - si * st) / (n * sii - si * si);
    const double start = (st - slope * si) / n;
    double sum2 = 0;
    for (std::size_t k = 0; k < block_i_.size(); ++k) {
      const double r = block_t_[k] - start - slope * (block_i_[k] - block_i_[0]);
      sum2 += r * r;
    }
    variances_.push_back(sum2 / (n - 2));
    freedom_.push_back(n - 2);
  }
  block_i_.clear();
  block_t_.clear();
}

void RateMeter::close_run() {
  close_block();
  const double det = n_ * sii_ - si_ * si_;
  if (n_ >= 16 && det > 0) {
    const double weight = det / n_;  // inverse variance of the slope in units of one edge's variance
    slope_sum_ += weight * (period_guess_ + (n_ * sit_ - si_ * st_) / det);
    slope_weight_ += weight;
  }
  n_ = si_ = st_ = sii_ = sit_ = 0;
}

void RateMeter::finish(const VideoSetup& setup, Readings& out) {
  close_run();
  double variance = 0;
  double freedom = 0;
  for (std::size_t k = 0; k < variances_.size(); ++k) {
    variance += variances_[k] * freedom_[k];
    freedom += freedom_[k];
  }
  if (!(slope_weight_ > 0) || !(freedom > 0)) {
    const std::string reason = "fewer than 64 lines with sync in a row; take a longer capture";
    for (const char* id : {"video.line.frequency", "video.field.frequency", "video.sync.jitter"}) {
      out.push_back(unmeasurable(id, reason));
    }
    return;
  }
  variance /= freedom;
  const double period = slope_sum_ / slope_weight_;
  const double hz = rate_hz_ / period * clock_;
  // Scatter of the edges on the slope, and the arithmetic's own limit.
  const double u = together(2 * std::sqrt(variance / slope_weight_) / period * hz, 1e-9 * hz);
  const std::string remark = clock_ == 1.0 ? "by the recorder's clock, whose own error is not known" : "";
  out.push_back(number_reading("video.line.frequency", hz, u, remark));
  if (setup.lines_per_frame > 0) {
    const double lines_per_field = setup.interlaced ? 0.5 * setup.lines_per_frame : setup.lines_per_frame;
    out.push_back(number_reading("video.field.frequency", hz / lines_per_field, u / lines_per_field, remark));
  } else {
    out.push_back(
        unmeasurable("video.field.frequency",
                     "fewer than two field syncs in the capture; take at least 60 ms, or look for a missing "
                     "vertical sync"));
  }
  // Jitter: what scatter is left when the noise seen on the flat parts is taken out.
  const double noise = noise_n_ > 0 ? noise2_ / noise_n_ : 0.0;
  const double ns = 1e9 / rate_hz_;
  const double jitter2 = std::max(0.0, variance - noise);
  // Both are estimates; that noise on the edge is as on the flat parts is held to 5 %.
  const double u2 =
      2 * std::hypot(variance * std::sqrt(2 / freedom), noise * (std::sqrt(2 / noise_n_) + 0.025));
  if (jitter2 > u2) {
    out.push_back(number_reading("video.sync.jitter", std::sqrt(jitter2) * ns,
                                 together(0.5 * u2 / std::sqrt(jitter2) * ns, 0.1)));
  } else {
    const double most = std::sqrt(jitter2 + u2) * ns + 0.1;
    if (most < 2) {
      out.push_back(number_reading("video.sync.jitter", std::sqrt(jitter2) * ns, most));
    } else {
      out.push_back(
          unmeasurable("video.sync.jitter",
                       fmt::format("noise moves the edges by {:.1f} ns rms, jitter is below {:.1f} ns; use a "
                                   "less noisy input to see less",
                                   std::sqrt(noise) * ns, most),
                       most));
    }
  }
}

}  // namespace linebench::measure
