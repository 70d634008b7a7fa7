// Minimum phase, and what is left of a path's phase without it: delay, polarity, clock.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "response_path.hpp"

namespace linebench::measure::response {
namespace {

constexpr std::size_t grid = 32768;        // points round the circle for the minimum phase
constexpr double steepest_db_octave = 24;  // by which a band edge is continued where nothing was measured
constexpr double deepest_analogue_db = 300;
constexpr double deepest_db = 80;  // and how far
constexpr double search_s = 4e-3;  // delay beyond the alignment
constexpr double in_band_db = 30;  // below the strongest: takes no part in delay and polarity
// An analogue path goes on falling beyond half the rate, and that turns its phase in the band too; what runs
// on samples does not. Which one it is the samples do not show, so both are tried and the delay lies in
// between.
constexpr std::size_t beyond = 16;  // times half the rate to which an analogue fall is followed
constexpr double steepest_fall_db_octave = 60;
constexpr double clock_band_db = 6;  // skirts turn the phase in ways that look like a clock
constexpr double sampled_share = 0.4;
constexpr double most_apart = 4.0;  // samples between the two: more is another peak
constexpr double most_snr = 1e4;    // beyond this the model, not the noise, limits a phase

// Level at a frequency: local straight line in log frequency, weighted with a smooth bell of the given width.
struct Local {
  double db = 0;
  double slope = 0;  // dB per octave
};
Local local_fit(std::span<const double> octave, std::span<const double> db, std::span<const double> weight,
                double at, double width) {
  double s = 0, sx = 0, sy = 0, sxx = 0, sxy = 0;
  const auto first = std::lower_bound(octave.begin(), octave.end(), at - width) - octave.begin();
  for (auto i = static_cast<std::size_t>(first); i < octave.size() && octave[i] <= at + width; ++i) {
    const double x = octave[i] - at;
    const double u = 1 - (x / width) * (x / width);
    const double w = weight[i] * u * u;
    s += w, sx += w * x, sy += w * db[i], sxx += w * x * x, sxy += w * x * db[i];
  }
  Local r;
  if (!(s > 0)) return r;
  const double spread = sxx - sx * sx / s;
  r.slope = spread > 1e-6 * s * width * width ? (sxy - sx * sy / s) / spread : 0;
  r.db = sy / s - r.slope * sx / s;
  return r;
}

}  // namespace

MinimumPhase::MinimumPhase(std::span<const double> hz, std::span<const double> db,
                           std::span<const double> weight, double rate_hz, double octaves, bool analogue)
    : step_hz_(rate_hz / static_cast<double>(grid)) {
  const std::size_t round = analogue ? beyond * grid : grid;
  phase_.assign(round / 2 + 1, 0.0);
  db_.assign(round / 2 + 1, 0.0);
  if (hz.empty()) return;
  std::vector<double> octave(hz.size());
  std::transform(hz.begin(), hz.end(), octave.begin(), [](double f) { return std::log2(f); });
  // Smoothed on a log grid first; the linear grid has far more points than there is to know.
  constexpr double log_step = 1.0 / 96.0;
  const double bottom = octave.front();
  const double top = octave.back();
  const auto count = static_cast<std::size_t>((top - bottom) / log_step) + 2;
  std::vector<double> smooth(count);
  Local low, high;
  for (std::size_t i = 0; i < count; ++i) {
    const double at = std::min(top, bottom + static_cast<double>(i) * log_step);
    // Where the data have gaps wider than the bell (a multitone), the bell is widened until it holds some.
    Local l;
    for (double width = octaves; width < 8; width *= 1.5) {
      l = local_fit(octave, db, weight, at, width);
      if (l.db != 0 || l.slope != 0) break;
    }
    smooth[i] = l.db;
    if (i == 0) low = l;
    high = l;
  }
  // Few bands lie at the very top, and a sweep's end is among them.
  high = local_fit(octave, db, weight, top, std::max(octaves, 0.5));
  const double low_slope = std::clamp(low.slope, 0.0, steepest_db_octave);
  const double high_slope = std::clamp(high.slope, -steepest_fall_db_octave, 0.0);
  for (std::size_t k = 0; k < db_.size(); ++k) {
    const double at = std::log2(std::max(static_cast<double>(k), 0.25) * step_hz_);
    if (at <= bottom) {
      db_[k] = smooth.front() - std::min(deepest_db, low_slope * (bottom - at));
    } else if (at >= top) {
      db_[k] =
          smooth.back() + std::max(analogue ? -deepest_analogue_db : -deepest_db, high_slope * (at - top));
    } else {
      const double position = (at - bottom) / log_step;
      const auto i = std::min(static_cast<std::size_t>(position), count - 2);
      const double share = position - static_cast<double>(i);
      db_[k] = smooth[i] + share * (smooth[i + 1] - smooth[i]);
    }
  }
  // Real cepstrum, folded to its causal side [Oppenheim & Schafer, homomorphic deconvolution].
  dsp::RealFft fft(round);
  for (std::size_t k = 0; k < db_.size(); ++k) fft.output()[k] = db_[k] * std::numbers::ln10 / 20;
  fft.inverse();
  const std::span<double> c = fft.input();
  for (double& v : c) v /= static_cast<double>(round);
  for (std::size_t n = 1; n < round / 2; ++n) {
    c[n] *= 2;
    c[round - n] = 0;
  }
  fft.forward();
  for (std::size_t k = 0; k < phase_.size(); ++k) phase_[k] = fft.output()[k].imag();
}

namespace {
double interpolate(const std::vector<double>& v, double position) {
  const double p = std::clamp(position, 0.0, static_cast<double>(v.size() - 1));
  const auto i = std::min(static_cast<std::size_t>(p), v.size() - 2);
  return v[i] + (p - static_cast<double>(i)) * (v[i + 1] - v[i]);
}
}  // namespace

double MinimumPhase::phase(double hz) const { return interpolate(phase_, hz / step_hz_); }
double MinimumPhase::db(double hz) const { return interpolate(db_, hz / step_hz_); }

namespace {

// The profile with its minimum phase taken out, where it is strong enough to say something.
struct Residual {
  std::vector<double> omega;  // radians per sample
  std::vector<Complex> unit;  // phase
  std::vector<double> weight;
  std::vector<double> emitted_s;
  std::vector<double> hz;
  std::vector<double> below_db;  // the strongest
};

Residual residual(const Profile& p, double rate_hz, bool analogue) {
  Residual r;
  if (p.hz.empty()) return r;
  const MinimumPhase minimum(p.hz, p.db, p.snr, rate_hz, 1.0 / 6.0, analogue);
  const double strongest = *std::max_element(p.db.begin(), p.db.end());
  for (std::size_t i = 0; i < p.hz.size(); ++i) {
    if (p.db[i] < strongest - in_band_db) continue;
    const double below = i > 0 ? p.hz[i] - p.hz[i - 1] : (p.hz.size() > 1 ? p.hz[1] - p.hz[0] : 1.0);
    r.hz.push_back(p.hz[i]);
    r.below_db.push_back(strongest - p.db[i]);
    r.omega.push_back(2 * std::numbers::pi * p.hz[i] / rate_hz);
    r.unit.push_back(p.transfer[i] / std::abs(p.transfer[i]) * std::polar(1.0, -minimum.phase(p.hz[i])));
    const double snr = std::min(p.snr[i], most_snr);
    // By the width it stands for, so that many narrow bands at the low end do not outvote the rest.
    r.weight.push_back(std::min(below, 0.05 * p.hz[i]) * snr / (snr + 10));
    r.emitted_s.push_back(p.emitted_s[i]);
  }
  return r;
}

}  // namespace

namespace {

Excess excess_over(const Residual& r, double rate_hz) {
  Excess e;
  double total = 0;
  for (const double w : r.weight) total += w;
  if (!(total > 0)) return e;
  const double reach = search_s * rate_hz;
  double best = 0;
  const double step = 0.25;
  for (double late = -reach; late <= reach; late += step) {
    double c = 0;
    for (std::size_t i = 0; i < r.omega.size(); ++i) {
      const double a = r.omega[i] * late;
      c += r.weight[i] * (r.unit[i].real() * std::cos(a) - r.unit[i].imag() * std::sin(a));
    }
    if (std::abs(c) > std::abs(best)) {
      best = c;
      e.late = late;
    }
  }
  e.polarity = best < 0 ? -1 : 1;
  double information = 0;
  double chi2 = 0;
  double agree = 0;
  double weight = 0;
  for (int round = 0; round < 6; ++round) {
    double slope = 0;
    information = chi2 = agree = weight = 0;
    for (std::size_t i = 0; i < r.omega.size(); ++i) {
      const double error =
          std::arg(static_cast<double>(e.polarity) * r.unit[i] * std::polar(1.0, r.omega[i] * e.late));
      // Bands far off (a notch, an echo's dip) are held back.
      const double w = r.weight[i] / (1 + 4 * error * error);
      slope += w * r.omega[i] * error;
      weight += w;
      information += w * r.omega[i] * r.omega[i];
      chi2 += w * error * error;
      agree += r.weight[i] * std::cos(error);
    }
    if (!(information > 0)) break;
    e.late -= std::clamp(slope / information, -0.5, 0.5);
  }
  e.clear = agree / total;
  if (!(information > 0)) return e;
  const double bands = std::max(1.0, static_cast<double>(r.omega.size()) - 2);
  // One sigma from how far the phases scatter about the line, and what the minimum-phase model may miss: a
  // twentieth of the period of the frequency the line hangs on (rms over the weights).
  const double scatter = std::sqrt(chi2 / bands / information * static_cast<double>(r.omega.size()) / bands);
  const double decisive = std::sqrt(information / weight);
  e.uncertainty = 2 * scatter + 0.05 * 2 * std::numbers::pi / decisive;
  return e;
}

}  // namespace

Excess excess_delay(const Profile& p, double rate_hz) {
  const Excess sampled = excess_over(residual(p, rate_hz, false), rate_hz);
  const Excess analogue = excess_over(residual(p, rate_hz, true), rate_hz);
  if (sampled.polarity != analogue.polarity || std::abs(sampled.late - analogue.late) > most_apart) {
    Excess e = sampled.clear > analogue.clear ? sampled : analogue;
    e.sampled_late = sampled.late;
    return e;
  }
  Excess e = sampled.clear > analogue.clear ? sampled : analogue;
  e.sampled_late = sampled.late;
  // A sampled path's own fall ahead of half the rate is steeper than what is taken for it, so nearer the
  // analogue.
  e.late = analogue.late + sampled_share * (sampled.late - analogue.late);
  e.uncertainty += std::max(sampled_share, 1 - sampled_share) * std::abs(sampled.late - analogue.late);
  return e;
}

namespace {

// Over how many neighbours residuals are alike: an echo's ripple or a filter's dispersion goes on over many
// bands, which then tell as much as a few.
double alike(std::span<const double> residuals) {
  double square = 0;
  for (const double v : residuals) square += v * v;
  double sum = 1;
  for (std::size_t lag = 1; lag < residuals.size() / 2; ++lag) {
    double product = 0;
    for (std::size_t i = lag; i < residuals.size(); ++i) product += residuals[i] * residuals[i - lag];
    if (!(product > 0.05 * square)) break;
    sum += 2 * product / square;
  }
  return sum;
}

}  // namespace

std::optional<ClockFit> clock_from_phases(const Profile& p, double rate_hz) {
  const Residual r = residual(p, rate_hz, false);
  const Excess line = excess_over(r, rate_hz);
  // Where phases are far from one line some may be whole turns off, and then this says nothing.
  constexpr double near_a_line = 0.9;
  constexpr std::size_t fewest = 12;
  if (r.omega.size() < fewest || line.clear < near_a_line) return std::nullopt;
  double w0 = 0, mean_t = 0;
  std::vector<double> error(r.omega.size());
  for (std::size_t i = 0; i < r.omega.size(); ++i) {
    error[i] =
        std::arg(static_cast<double>(line.polarity) * r.unit[i] * std::polar(1.0, r.omega[i] * line.late));
    const double w = r.weight[i] * r.omega[i] * r.omega[i];
    w0 += w;
    mean_t += w * r.emitted_s[i];
  }
  if (!(w0 > 0)) return std::nullopt;
  mean_t /= w0;
  // error = -omega (rest + clock (t - mean)), the two being orthogonal about the weighted mean.
  double spread = 0, product = 0, rest = 0;
  for (std::size_t i = 0; i < r.omega.size(); ++i) {
    const double t = (r.emitted_s[i] - mean_t) * rate_hz;
    spread += r.weight[i] * r.omega[i] * r.omega[i] * t * t;
    product -= r.weight[i] * r.omega[i] * t * error[i];
    rest -= r.weight[i] * r.omega[i] * error[i];
  }
  if (!(spread > 0)) return std::nullopt;
  ClockFit f;
  f.clock = product / spread;
  rest /= w0;
  std::vector<double> left(r.omega.size());
  double square = 0;
  double weight = 0;
  for (std::size_t i = 0; i < r.omega.size(); ++i) {
    const double t = (r.emitted_s[i] - mean_t) * rate_hz;
    left[i] = std::sqrt(r.weight[i]) * (error[i] + r.omega[i] * (rest + f.clock * t));
    square += left[i] * left[i];
    weight += r.weight[i];
  }
  const double bands = static_cast<double>(r.omega.size());
  f.uncertainty = 2 * std::sqrt(square / (bands - 2) * alike(left) / spread);
  f.lag = line.late;
  f.about = mean_t * rate_hz;
  return f;
}

std::optional<ClockFit> clock_from_sweep(const Profile& p, double rate_hz) {
  const Residual r = residual(p, rate_hz, false);
  std::vector<double> t, g, w;
  for (std::size_t i = 1; i < r.omega.size(); ++i) {
    const double dw = r.omega[i] - r.omega[i - 1];
    if (r.hz[i] < 300 || r.below_db[i] > clock_band_db || r.hz[i] > 1.1 * r.hz[i - 1] || !(dw > 0)) continue;
    t.push_back(0.5 * (r.emitted_s[i] + r.emitted_s[i - 1]) * rate_hz);
    g.push_back(-std::arg(r.unit[i] * std::conj(r.unit[i - 1])) / dw);
    // Noise would have it by the square; but what the model misses of a path's phase sits at the upper edge.
    w.push_back(dw * std::min(r.weight[i], r.weight[i - 1]));
  }
  if (t.size() < 24) return std::nullopt;
  double slope = 0;
  double offset = 0;
  double sigma = 0;
  for (int round = 0; round < 5; ++round) {
    double s = 0, st = 0, sg = 0, stt = 0, stg = 0, n = 0, square = 0;
    for (std::size_t i = 0; i < t.size(); ++i) {
      const double error = g[i] - offset - slope * t[i];
      if (round > 0 && w[i] * error * error > 9 * sigma * sigma) continue;
      s += w[i], st += w[i] * t[i], sg += w[i] * g[i], stt += w[i] * t[i] * t[i], stg += w[i] * t[i] * g[i];
      n += 1;
    }
    const double spread = stt - st * st / s;
    if (!(spread > 0) || n < 16) return std::nullopt;
    slope = (stg - st * sg / s) / spread;
    offset = (sg - slope * st) / s;
    for (std::size_t i = 0; i < t.size(); ++i) {
      const double error = g[i] - offset - slope * t[i];
      if (round == 0 || w[i] * error * error <= 9 * sigma * sigma) square += w[i] * error * error;
    }
    sigma = std::sqrt(square / (n - 2));
    std::vector<double> left(t.size());
    for (std::size_t i = 0; i < t.size(); ++i) left[i] = std::sqrt(w[i]) * (g[i] - offset - slope * t[i]);
    if (round == 4) {
      ClockFit f;
      f.clock = slope;
      f.uncertainty = 2 * sigma / std::sqrt(spread) * std::sqrt(alike(left));
      f.lag = offset;
      if (std::abs(slope) > clock_range) return std::nullopt;
      return f;
    }
  }
  return std::nullopt;
}

}  // namespace linebench::measure::response
