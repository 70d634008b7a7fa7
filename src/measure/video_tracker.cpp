#include "video_tracker.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace linebench::measure {
namespace {

// Stretches of a line in us from 0H that mean the same in 525 and 625 [170M, BT.470].
constexpr double tip_from = 0.6;
constexpr double short_tip_to = 1.8;  // inside an equalising pulse
constexpr double tip_to = 4.1;        // inside line sync
constexpr double edge_half_width = 0.40;
constexpr double porch_from = 5.0;
constexpr double burst_from = 5.7;  // inside the plateau of either burst
constexpr double burst_to = 7.7;

}  // namespace

double SampleWindow::mean(double from, double to) const {
  const auto a = std::max(static_cast<std::int64_t>(std::ceil(from)), base);
  const auto b = std::min(static_cast<std::int64_t>(std::floor(to)) + 1, end);
  if (a >= b) return std::numeric_limits<double>::quiet_NaN();
  float sum = 0;
  for (std::int64_t n = a; n < b; ++n) sum += data[n - base];
  return static_cast<double>(sign * sum) / static_cast<double>(b - a);
}

double SampleWindow::integral(double from, double to) const {
  const auto a = static_cast<std::int64_t>(std::floor(from + 0.5));
  const auto b = static_cast<std::int64_t>(std::floor(to + 0.5));
  if (a < base || b >= end || a > b) return std::numeric_limits<double>::quiet_NaN();
  if (a == b) return at(a) * (to - from);
  double sum = (static_cast<double>(a) + 0.5 - from) * at(a) + (to - (static_cast<double>(b) - 0.5)) * at(b);
  for (std::int64_t n = a + 1; n < b; ++n) sum += at(n);
  return sum;
}

BurstProbe::BurstProbe(double hz, double rate_hz) : hz_(hz), rate_hz_(rate_hz) {
  const auto length = static_cast<std::size_t>(std::floor((burst_to - burst_from) * 1e-6 * rate_hz));
  table_.resize(length);
  double sum = 0;
  for (std::size_t k = 0; k < length; ++k) {
    const double s =
        std::sin(std::numbers::pi * (static_cast<double>(k) + 1) / (static_cast<double>(length) + 1));
    sum += s * s;
  }
  for (std::size_t k = 0; k < length; ++k) {
    const double s =
        std::sin(std::numbers::pi * (static_cast<double>(k) + 1) / (static_cast<double>(length) + 1));
    const auto z = std::complex<double>(0, 2.0 / sum * s * s) *
                   std::polar(1.0, -2.0 * std::numbers::pi * hz * static_cast<double>(k) / rate_hz);
    table_[k] = std::complex<float>(static_cast<float>(z.real()), static_cast<float>(z.imag()));
  }
}

std::complex<double> BurstProbe::operator()(const SampleWindow& w, double t0, double blanking_v) const {
  const auto start = static_cast<std::int64_t>(std::llround(t0 + burst_from * 1e-6 * rate_hz_));
  if (table_.empty() || start < w.base || start + static_cast<std::int64_t>(table_.size()) > w.end) return {};
  float re = 0;
  float im = 0;
  const float* x = w.data + (start - w.base);
  const auto blank = static_cast<float>(blanking_v) * w.sign;
  for (std::size_t k = 0; k < table_.size(); ++k) {
    const float v = x[k] - blank;
    re += v * table_[k].real();
    im += v * table_[k].imag();
  }
  const double turns = std::fmod(hz_ / rate_hz_ * static_cast<double>(start), 1.0);
  return static_cast<double>(w.sign) *
         std::complex<double>(static_cast<double>(re), static_cast<double>(im)) *
         std::polar(1.0, -2.0 * std::numbers::pi * turns);
}

LineTracker::LineTracker(double rate_hz, const FoundSync& found, double back_porch_end_us, double start)
    : rate_hz_(rate_hz),
      us_(rate_hz * 1e-6),
      period_(found.period_samples),
      sync_v_(found.sync_v),
      porch_from_us_(porch_from) {
  // Back to the first line whose surroundings are in the capture.
  next_ = found.first ? found.edge
                      : found.edge - std::floor((found.edge - start - reach_back()) / period_) * period_;
  const auto length = static_cast<std::size_t>(std::floor((back_porch_end_us - porch_from) * us_));
  porch_taper_.resize(std::max<std::size_t>(length, 2));
  double sum = 0;
  const double n1 = static_cast<double>(porch_taper_.size()) + 1;
  for (std::size_t k = 0; k < porch_taper_.size(); ++k) {
    const double s = std::sin(std::numbers::pi * (static_cast<double>(k) + 1) / n1);
    porch_taper_[k] = static_cast<float>(s * s);
    sum += s * s;
  }
  for (float& t : porch_taper_) t /= static_cast<float>(sum);
}

void LineTracker::set_probe(std::size_t which, double hz) {
  probes_[which] = hz > 0 && hz < 0.45 * rate_hz_ ? BurstProbe(hz, rate_hz_) : BurstProbe();
}

double LineTracker::noise_v() const {
  return tip_noise_n_ > 0 ? std::sqrt(tip_noise2_sum_ / tip_noise_n_) : 0.0;
}

double LineTracker::jitter_samples() const { return std::sqrt(std::max(0.0, surprise2_ - edge_noise2_)); }

// Which pulses the line has, by levels well inside where each would be. `blanking` only needs to be roughly
// right.
void LineTracker::read_pulses(const SampleWindow& w, double t0, double blanking, LineMark& m) const {
  const double half = 0.5 * period_;
  const double middle = blanking - 0.5 * sync_v_;
  const auto low = [&](double from_us, double to_us) {
    return w.mean(t0 + from_us * us_, t0 + to_us * us_) < middle;
  };
  const double h = half / us_;
  m.broad_first = low(12.0, 16.0) && low(18.0, 22.0);
  m.broad_second = low(h + 12.0, h + 16.0) && low(h + 18.0, h + 22.0);
  const bool sync_is_short = low(tip_from, short_tip_to) && !low(3.0, 4.0);
  m.pulses = m.broad_first || m.broad_second || sync_is_short || low(h + 0.5, h + 1.8);
}

void LineTracker::read_clamp(const SampleWindow& w, double t0, LineMark& m) {
  if (m.broad_first) {  // blanking shows between the broad pulses only
    const double from = t0 + 0.5 * period_ - 4.15 * us_;
    const double to = t0 + 0.5 * period_ - 0.45 * us_;
    m.clamp_at = 0.5 * (from + to);
    m.clamp_v = w.mean(from, to);
  } else {
    const auto start = static_cast<std::int64_t>(std::llround(t0 + porch_from_us_ * us_));
    const auto length = static_cast<std::int64_t>(porch_taper_.size());
    m.clamp_at = static_cast<double>(start) + 0.5 * static_cast<double>(length - 1);
    if (start < w.base || start + length > w.end) {
      m.clamp_v = std::numeric_limits<double>::quiet_NaN();
    } else {
      double sum = 0;
      const float* x = w.data + (start - w.base);
      for (std::int64_t k = 0; k < length; ++k) {
        sum += static_cast<double>(x[k] * porch_taper_[static_cast<std::size_t>(k)]);
      }
      m.clamp_v = sum * static_cast<double>(w.sign);
    }
  }
}

// The 50 % point by area: the integral across the edge over its height says where a step would stand. It uses
// every sample, needs no interpolation, and is free of bias for an edge that is symmetrical.
bool LineTracker::find_edge(const SampleWindow& w, double guess, LineMark& m) {
  const double width = edge_half_width * us_;
  double at = guess;
  for (int round = 0; round < 8; ++round) {
    const double short_tip = w.mean(at + tip_from * us_, at + short_tip_to * us_);
    // Blanking at the edge: the line through this clamp and the one before, so that hum does not tilt it.
    double blanking = m.clamp_v;
    if (std::isfinite(last_clamp_v_) && m.clamp_at > last_clamp_at_) {
      blanking += (m.clamp_v - last_clamp_v_) * (at - m.clamp_at) / (m.clamp_at - last_clamp_at_);
    }
    const double depth = blanking - short_tip;
    if (!(depth > 0.4 * sync_v_)) return false;
    const double area = w.integral(at - width, at + width);
    const double t = at - width + (area - short_tip * 2 * width) / depth;
    // In noise the window's own move changes the area: later steps are halved and asked for less.
    const double shift = std::clamp(t - at, -width, width) * (round > 2 ? 0.5 : 1.0);
    if (!std::isfinite(shift)) return false;
    at += shift;
    m.edge = at;
    if (std::abs(shift) < (round > 2 ? 0.3 : 0.1) * width) {
      const bool before_high = w.mean(at - 0.9 * us_, at - 0.4 * us_) > blanking - 0.5 * depth;
      return before_high;
    }
  }
  return false;
}

// A leading edge within +-5 us of where it should be, nearest first; NaN when there is none.
double LineTracker::search(const SampleWindow& w, double guess, double blanking) const {
  for (int k = 1; k <= 20; ++k) {
    for (const double off : {0.25 * k, -0.25 * k}) {
      const double at = guess + off * us_;
      if (w.mean(at + 0.3 * us_, at + 1.8 * us_) < blanking - 0.7 * sync_v_ &&
          w.mean(at - 1.0 * us_, at - 0.3 * us_) > blanking - 0.3 * sync_v_) {
        return at;
      }
    }
  }
  return std::numeric_limits<double>::quiet_NaN();
}

void LineTracker::follow(LineMark& m, double guess) {
  if (!m.found) {
    m.t0 = guess;
    ++lost_;
    next_ = m.t0 + period_;
    return;
  }
  lost_ = 0;
  const double surprise = m.edge - guess;
  seen_ += 1;
  const double rate = std::max(1.0 / 64.0, 1.0 / seen_);
  surprise2_ += rate * (std::min(surprise * surprise, us_ * us_) - surprise2_);
  edge_noise2_ += rate * (m.edge_noise * m.edge_noise - edge_noise2_);
  // Smooth only what noise explains; an edge that really moves is taken where it is.
  const double real = 1.0 - 1.5 * edge_noise2_ / std::max(surprise2_, 1e-12);
  const bool settled = seen_ > 32 && std::abs(surprise) < 6.0 * std::sqrt(edge_noise2_) + 0.002 * us_;
  const double gain = settled ? std::clamp(real, 0.15, 1.0) : 1.0;
  m.t0 = guess + gain * surprise;
  period_ += std::min(0.004, gain * gain / 8.0) * std::clamp(surprise, -0.5 * us_, 0.5 * us_);
  next_ = m.t0 + period_;
}

LineMark LineTracker::measure(const SampleWindow& w) {
  LineMark m;
  m.index = index_++;
  const double guess = next_;
  const double rough_blanking = std::isfinite(last_clamp_v_)
                                    ? last_clamp_v_
                                    : w.mean(guess + tip_from * us_, guess + short_tip_to * us_) + sync_v_;
  read_pulses(w, guess, rough_blanking, m);
  read_clamp(w, guess, m);
  m.found = find_edge(w, guess, m) && std::abs(m.edge - guess) < 1.5 * us_;
  double at = m.found ? m.edge : guess;
  if (!m.found && std::isfinite(m.clamp_v)) {
    const double elsewhere = search(w, guess, rough_blanking);
    if (std::isfinite(elsewhere)) {
      read_pulses(w, elsewhere, rough_blanking, m);
      read_clamp(w, elsewhere, m);
      m.found = find_edge(w, elsewhere, m);
      if (m.found) at = m.edge;
    }
  }
  // With the place known, read again what depends on it.
  if (std::abs(at - guess) > 0.1 * us_) {
    read_pulses(w, at, m.clamp_v, m);
    read_clamp(w, at, m);
  }
  if (m.found) {
    const bool longer = !m.pulses || m.broad_first;
    m.tip_v = w.mean(at + tip_from * us_, at + (longer ? tip_to : short_tip_to) * us_);
    if (longer) {
      // Noise of single samples, and of means as wide as the edge's window, off the flat tip.
      const auto a = static_cast<std::int64_t>(std::ceil(at + 0.9 * us_));
      const auto b = static_cast<std::int64_t>(std::floor(at + 3.9 * us_));
      double sum2 = 0;
      for (std::int64_t n = a; n < b; n += 2) sum2 += (w.at(n) - m.tip_v) * (w.at(n) - m.tip_v);
      tip_noise2_sum_ += sum2;
      tip_noise_n_ += static_cast<double>((b - a + 1) / 2);
      const double width = 2 * edge_half_width;
      const double d =
          w.mean(at + 0.9 * us_, at + (0.9 + width) * us_) - w.mean(at + (3.9 - width) * us_, at + 3.9 * us_);
      mean_noise2_ += std::max(1.0 / 256.0, 1.0 / (seen_ + 1)) * (0.5 * d * d - mean_noise2_);
      const double depth = m.clamp_v - m.tip_v;
      if (depth > 0.3 * sync_v_) sync_v_ += std::max(1.0 / 256.0, 1.0 / (seen_ + 1)) * (depth - sync_v_);
    }
    // Area noise, plus the share of the two levels it is held against (their means are about as long as the
    // window).
    m.edge_noise = std::sqrt(1.25 * mean_noise2_) * 2 * edge_half_width * us_ / std::max(sync_v_, 1e-9);
  }
  if (!(m.clamp_v > rough_blanking - 0.6 * sync_v_) && m.found && std::isfinite(last_clamp_v_)) {
    m.clamp_v = last_clamp_v_;  // no blanking where it should show, e.g. a field sync without serrations
  }
  for (std::size_t p = 0; p < 2; ++p) {
    if (!m.pulses) m.burst[p] = probes_[p](w, at, m.clamp_v);
  }
  follow(m, guess);
  if (std::isfinite(m.clamp_v)) {
    last_clamp_v_ = m.clamp_v;
    last_clamp_at_ = m.clamp_at;
  } else {
    m.clamp_v = rough_blanking;
  }
  return m;
}

void LineTracker::relock(double edge, double sync_v) {
  const double lines = std::max(0.0, std::round((edge - next_) / period_));
  index_ += static_cast<std::uint64_t>(lines);
  next_ = edge;
  sync_v_ = sync_v;
  lost_ = 0;
  seen_ = 0;
  last_clamp_v_ = std::numeric_limits<double>::quiet_NaN();
}

}  // namespace linebench::measure
