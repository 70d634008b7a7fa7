#include "lowband_fields.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr std::size_t most_parts = 512;
constexpr double least_sync = 0.5;    // of the usual, below which there is none
constexpr double farthest_s = 24e-6;  // from where it should be: less than half a half line
constexpr double most_misfit = 0.25;  // of the usual sync

}  // namespace

// ---- a line through points

void LineThroughPoints::add(double x, double y) {
  if (parts_.empty() || parts_.back().n >= part_size_) {
    if (parts_.size() == most_parts) {
      for (std::size_t i = 0; i < most_parts / 2; ++i) {
        const Part& a = parts_[2 * i];
        const Part& b = parts_[2 * i + 1];
        parts_[i] = {a.n + b.n, a.x + b.x, a.y + b.y};
      }
      parts_.resize(most_parts / 2);
      part_size_ *= 2;
    }
    parts_.push_back({});
  }
  Part& p = parts_.back();
  p.n += 1;
  p.x += x;
  p.y += y;
}

LineThroughPoints::Result LineThroughPoints::result() const {
  Result r;
  double n = 0;
  double mx = 0;
  double my = 0;
  for (const Part& p : parts_) n += p.n, mx += p.x, my += p.y;
  r.points = static_cast<std::size_t>(n);
  r.slope_expanded = std::numeric_limits<double>::infinity();
  if (parts_.size() < 2) return r;
  mx /= n;
  my /= n;
  double sxx = 0;
  double sxy = 0;
  for (const Part& p : parts_) {
    const double x = p.x / p.n - mx;
    sxx += p.n * x * x;
    sxy += p.n * x * (p.y / p.n - my);
  }
  r.slope = sxy / sxx;
  r.offset = my - r.slope * mx;
  if (parts_.size() < 6) return r;
  const std::size_t batches = std::min<std::size_t>(16, parts_.size());
  double sum2 = 0;
  double batch_sxx = 0;
  for (std::size_t b = 0; b < batches; ++b) {
    double bn = 0;
    double bx = 0;
    double by = 0;
    for (std::size_t i = b * parts_.size() / batches; i < (b + 1) * parts_.size() / batches; ++i) {
      bn += parts_[i].n, bx += parts_[i].x, by += parts_[i].y;
    }
    const double residual = by / bn - r.offset - r.slope * bx / bn;
    sum2 += residual * residual;
    batch_sxx += (bx / bn - mx) * (bx / bn - mx);
  }
  const double freedom = static_cast<double>(batches) - 2;
  r.slope_expanded = coverage_factor(freedom) * std::sqrt(sum2 / freedom / batch_sxx);
  return r;
}

// ---- fields

LowbandFields::LowbandFields(double rate_hz, const FoundLowband& found,
                             const standards::VideoStandard& standard)
    : rate_hz_(rate_hz), line_hz_(found.line_hz), shape_(standard) {
  period_s_ = found.halves_per_field * 0.5 / found.line_hz;
  next_s_ = found.first_s;
  sync_ = found.inverted ? -found.sync : found.sync;
  // Start with the first that lies wholly in the capture.
  while (next_s_ + shape_.from_s() < 5 * lowband_sigma_s) next_s_ += period_s_;
  while (next_s_ - period_s_ + shape_.from_s() > 5 * lowband_sigma_s) next_s_ -= period_s_;
  values_.resize(shape_.points());
  for (Group& g : groups_) g.shape.assign(shape_.points(), 0.0);
}

void LowbandFields::push(std::span<const float> mv) {
  if (head_ > buffer_.size() / 2 && head_ > 65536) {
    buffer_.erase(buffer_.begin(), buffer_.begin() + static_cast<std::ptrdiff_t>(head_));
    head_ = 0;
  }
  buffer_.insert(buffer_.end(), mv.begin(), mv.end());
  while (next_field()) {
  }
}

// The next place where a vertical sync should be. False: not all of it is in memory yet.
bool LowbandFields::next_field() {
  const LowbandWindow w = window();
  if (!w.covers(next_s_ + shape_.from_s() - farthest_s, next_s_ + shape_.to_s() + farthest_s)) return false;
  double at = next_s_;
  shape_.sample(w, at, values_);
  VerticalFit f = shape_.fit(values_);
  for (int round = 0;
       round < 3 && std::abs(f.shift_s) > 0.5e-6 && std::abs(at + f.shift_s - next_s_) < farthest_s;
       ++round) {
    at += f.shift_s;
    shape_.sample(w, at, values_);
    f = shape_.fit(values_);
  }
  at += f.shift_s;
  const bool good = f.sync * sync_ > 0 && std::abs(f.sync) > least_sync * std::abs(sync_) &&
                    std::abs(f.sync) < 2 * std::abs(sync_) && std::abs(at - next_s_) < farthest_s &&
                    f.residual < most_misfit * std::abs(sync_);
  if (good) {
    missing_ += found_ > 0 ? missing_since_ : 0;
    missing_since_ = 0;
    ++found_;
    field_line_.add(static_cast<double>(number_), at);
    const double off = at - next_s_;
    period_s_ += 0.02 * off;
    const double smooth = found_ < 4 ? 1.0 : 0.3;
    const double settled = next_s_ + smooth * off;
    sync_ += (found_ < 8 ? 0.5 : 0.05) * (f.sync - sync_);
    if (on_field) on_field(number_, at);
    if (last_s_) gather(*last_s_, at);
    Group& g = groups_[static_cast<std::size_t>(found_ / 2) % line_groups];
    for (std::size_t i = 0; i < values_.size(); ++i) g.shape[i] += values_[i];
    g.fields += 1;
    last_s_ = at;
    next_s_ = settled + period_s_;
  } else {
    ++missing_since_;
    last_s_.reset();
    next_s_ += period_s_;
  }
  ++number_;
  // What lies before the field now begun is done with.
  const double keep_s = (last_s_ ? *last_s_ : next_s_) + shape_.from_s() - 12 * lowband_sigma_s;
  const auto keep = std::max<std::int64_t>(base_, static_cast<std::int64_t>(keep_s * rate_hz_));
  const auto drop = static_cast<std::size_t>(keep - base_);
  if (drop <= buffer_.size() - head_) {
    head_ += drop;
    base_ = keep;
  }
  return true;
}

// A whole field between two vertical syncs: its area, and the phase of the line rate in its middle.
void LowbandFields::gather(double from_s, double to_s) {
  const LowbandWindow w = window();
  const auto a = static_cast<std::int64_t>(std::ceil(from_s * rate_hz_));
  const auto b = static_cast<std::int64_t>(std::ceil(to_s * rate_hz_));
  if (a < w.first || b > w.first + static_cast<std::int64_t>(w.mv.size())) return;
  const auto n = static_cast<double>(b - a);
  double sum = 0;
  double moment = 0;  // sum over samples of the running sum
  std::complex<double> tone = 0;
  const double from = 0.1;  // share of the field: vertical sync and what follows it stay out
  const double to = 0.98;
  const double span = (to - from) * n;
  const double omega = 2 * pi * line_hz_ / rate_hz_;
  const std::complex<double> turn = std::polar(1.0, -omega);
  const std::complex<double> taper_turn = std::polar(1.0, 2 * pi / span);
  const auto first = a + static_cast<std::int64_t>(std::ceil(from * n));
  const auto last = a + static_cast<std::int64_t>(std::floor(to * n));
  std::complex<double> phasor = std::polar(1.0, -std::fmod(omega * static_cast<double>(first), 2 * pi));
  std::complex<double> taper = std::polar(1.0, 2 * pi * (static_cast<double>(first - a) - from * n) / span);
  for (std::int64_t k = a; k < b; ++k) {
    const auto v = static_cast<double>(w.mv[static_cast<std::size_t>(k - w.first)]);
    sum += v;
    moment += sum;
    if (k < first || k >= last) continue;
    tone += v * (0.5 - 0.5 * taper.real()) * phasor;
    phasor *= turn;
    taper *= taper_turn;
  }
  Group& g = groups_[static_cast<std::size_t>(found_ / 2) % line_groups];
  g.whole += 1;
  g.area += sum / n;
  g.moment += moment / n / rate_hz_;
  g.half_s += 0.5 * n / rate_hz_;
  sum_ += sum;
  count_ += n;
  if (std::abs(tone) > 0) {
    const double raw = std::arg(tone);
    phase_ = phase_ ? *phase_ + std::remainder(raw - *phase_, 2 * pi) : raw;
    phase_line_.add(0.5 * (from_s + to_s), *phase_);
  }
}

void LowbandFields::finish() {
  buffer_.clear();
  head_ = 0;
}

LowbandFields::Result LowbandFields::result() const {
  Result r;
  r.fields = found_;
  r.missing = missing_;
  r.field_s = field_line_.result();
  r.line_phase = phase_line_.result();
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const double dc = count_ > 0 ? sum_ / count_ : 0.0;
  std::array<double, line_groups> sync{};
  std::array<double, line_groups> by_step{};
  std::array<double, line_groups> by_slope{};
  std::array<VerticalFit, line_groups> fits{};
  std::vector<double> all(shape_.points(), 0.0);
  double fields = 0;
  double groups = 0;
  for (std::size_t i = 0; i < line_groups; ++i) {
    const Group& g = groups_[i];
    sync[i] = by_step[i] = by_slope[i] = nan;
    if (g.fields <= 0) continue;
    std::vector<double> mean = g.shape;
    for (std::size_t k = 0; k < mean.size(); ++k) all[k] += mean[k], mean[k] /= g.fields;
    fits[i] = shape_.fit_drawn_out(mean);
    sync[i] = fits[i].sync;
    by_step[i] = -fits[i].step / fits[i].sync;
    by_slope[i] = -fits[i].slope / (fits[i].level - dc);
    fields += g.fields;
    groups += 1;
  }
  if (fields <= 0) return r;
  for (double& v : all) v /= fields;
  const VerticalFit whole = shape_.fit_drawn_out(all);
  r.sync = whole.sync;
  r.drawn = whole.drawn;
  r.misfit = whole.residual / std::abs(whole.sync);
  const double unknown = std::numeric_limits<double>::infinity();
  r.sync_expanded = group_uncertainty([&](std::size_t i) { return sync[i]; }).value_or(unknown);
  // The coupling's rate shows twice: the level steps by it after the broad pulses, and it makes blanking
  // droop towards the mean. The step suffers from what is left of the picture before it, the droop from hum
  // in step with the field; where they differ the step counts.
  constexpr double step_floor = 10;        // 1/s
  constexpr double fastest = 2 * pi * 60;  // 1/s
  const double k1 = -whole.step / whole.sync;
  const double u1 =
      std::hypot(group_uncertainty([&](std::size_t i) { return by_step[i]; }).value_or(unknown), step_floor);
  const double k2 = -whole.slope / (whole.level - dc);
  const double own2 = group_uncertainty([&](std::size_t i) { return by_slope[i]; }).value_or(unknown);
  const double u2 = std::hypot(own2, std::max(0.0, std::abs(k2 - k1) - u1));
  const double w1 = 1 / (u1 * u1);
  const double w2 = 1 / (u2 * u2);
  r.coupling = std::clamp(w1 + w2 > 0 ? (w1 * k1 + w2 * k2) / (w1 + w2) : 0.0, 0.0, fastest);
  r.coupling_expanded = std::min(fastest, 1 / std::sqrt(w1 + w2));
  // A field's mean re blanking: by its area, with what the coupling took away since its start put back. A
  // constant that the converter adds would pile up in that: the mean of the whole capture is taken off.
  const auto mean_of = [&](std::size_t i, double k) {
    const Group& g = groups_[i];
    if (g.whole <= 0) return nan;
    return g.area / g.whole - fits[i].level + k * (g.moment - dc * g.half_s) / g.whole;
  };
  const auto mean_all = [&](double k) {
    double sum = 0;
    double n = 0;
    for (std::size_t i = 0; i < line_groups; ++i) {
      if (groups_[i].whole > 0) sum += groups_[i].whole * mean_of(i, k), n += groups_[i].whole;
    }
    return n > 0 ? sum / n : nan;
  };
  r.mean = mean_all(r.coupling);
  const double by_coupling = mean_all(r.coupling + r.coupling_expanded) - r.mean;
  r.mean_expanded =
      std::hypot(group_uncertainty([&](std::size_t i) { return mean_of(i, r.coupling); }).value_or(unknown),
                 by_coupling);
  return r;
}

}  // namespace linebench::measure
