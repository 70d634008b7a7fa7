#include "video_noise_tone.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/standards/video.hpp>
#include <map>
#include <numbers>

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr std::size_t most_samples = 1U << 20;
constexpr std::size_t least_stretches = 8;
constexpr double subcarrier_guard_hz = 40e3;
constexpr double cycles_in_stretch = 1.5;  // fewer, and the fit's slope takes most of the tone
constexpr int unfold_lines = 12;           // a bar's width apart
constexpr std::size_t most_tried = 3;
constexpr std::size_t piece = 48;  // samples that a turned field is summed over
constexpr double wander_hz = 2.5e3;
constexpr double locked_hz = 15;    // nearer to a multiple of the line rate, and it comes from there
constexpr double most_left = 0.25;  // of the power round a tone when it is taken out

// Sums over a piece of x times each of two tables, and of x squared.
struct PieceSums {
  float re = 0;
  float im = 0;
  float square = 0;
};
LINEBENCH_VECTORISED PieceSums piece_sums(const float* x, const float* c, const float* s, std::size_t n) {
  float re[8] = {};
  float im[8] = {};
  float sq[8] = {};
  std::size_t i = 0;
  for (; i + 8 <= n; i += 8) {
    for (std::size_t k = 0; k < 8; ++k) {
      re[k] += x[i + k] * c[i + k];
      im[k] += x[i + k] * s[i + k];
      sq[k] += x[i + k] * x[i + k];
    }
  }
  PieceSums out;
  for (std::size_t k = 0; k < 8; ++k) {
    out.re += re[k];
    out.im += im[k];
    out.square += sq[k];
  }
  for (; i < n; ++i) {
    out.re += x[i] * c[i];
    out.im += x[i] * s[i];
    out.square += x[i] * x[i];
  }
  return out;
}

// Power that noise alone reaches in none of some 1e5 bins: a mean over n exponential ones.
double threshold(double n) { return 1 + (6.5 * std::sqrt(n) + 18) / n; }

}  // namespace

ToneSearch::ToneSearch(const VideoSetup& setup, const Plan& plan)
    : plan_(plan),
      rate_hz_(setup.rate_hz),
      line_hz_(setup.rate_hz / setup.line_period_samples),
      subcarrier_hz_(setup.subcarrier_true_hz),
      length_(dsp::next_fast_size(
          std::min(most_samples, static_cast<std::size_t>(plan.seconds * setup.rate_hz)))),
      next_(plan.first_line) {}

bool ToneSearch::wants(const LineView& v) {
  if (open_ && v.t0 + v.line_period_samples >
                   static_cast<double>(fields_.back().begin) + static_cast<double>(length_)) {
    open_ = false;
    if (fields_.back().stretches.size() < least_stretches) fields_.pop_back();  // its memory serves the next
  }
  if (!open_ && fields_.size() < plan_.most && v.index >= next_) {
    open_ = true;
    next_ = std::max(v.index + plan_.least_apart,
                     static_cast<std::uint64_t>(plan_.apart * static_cast<double>(v.index)));
    fields_.push_back({v.first, std::vector<float>(length_, 0.0F), {}});
  }
  return open_;
}

void ToneSearch::add(const FlatSpectrum& shape, std::int64_t at, std::span<const float> residual) {
  Field& f = fields_.back();
  if (at < f.begin ||
      at + static_cast<std::int64_t>(residual.size()) > f.begin + static_cast<std::int64_t>(length_))
    return;
  const auto offset = static_cast<std::size_t>(at - f.begin);
  std::copy(residual.begin(), residual.end(), f.samples.begin() + static_cast<std::ptrdiff_t>(offset));
  f.stretches.push_back({&shape, offset});
}

// Power of a tone of that amplitude, mV^2 peak, by bin.
std::vector<double> ToneSearch::spectrum(const Field& f, dsp::RealFft& fft) const {
  std::fill(fft.input().begin(), fft.input().end(), 0.0);
  for (const Stretch& s : f.stretches) {
    // The window's phase is turned on along a stretch, exact to a part in 1e12.
    const double angle = 2 * pi / static_cast<double>(length_);
    const std::complex<double> step = std::polar(1.0, angle);
    std::complex<double> turn = std::polar(1.0, angle * (static_cast<double>(s.at) + 0.5));
    for (std::size_t i = s.at; i < s.at + s.shape->length(); ++i, turn *= step)
      fft.input()[i] = static_cast<double>(f.samples[i]) * (0.5 - 0.5 * turn.real());
  }
  fft.forward();
  double sum = 0;
  for (const Stretch& s : f.stretches)
    sum += static_cast<double>(s.shape->length()) * window(s.at + s.shape->length() / 2);
  std::vector<double> p(length_ / 2 + 1);
  const double scale = sum > 0 ? 4 / (sum * sum) : 0.0;
  for (std::size_t k = 0; k < p.size(); ++k) p[k] = scale * std::norm(fft.output()[k]);
  return p;
}

ToneSearch::Turned ToneSearch::turned(const Field& f, double hz) const {
  Turned t;
  t.hz = hz;
  const double w = 2 * pi * hz / rate_hz_;
  std::array<float, piece> c{};
  std::array<float, piece> s{};
  for (std::size_t i = 0; i < piece; ++i) {
    c[i] = static_cast<float>(std::cos(w * static_cast<double>(i)));
    s[i] = static_cast<float>(std::sin(w * static_cast<double>(i)));
  }
  const std::complex<double> on = std::polar(1.0, w * static_cast<double>(piece));
  for (const Stretch& x : f.stretches) {
    std::complex<double> turn = std::polar(1.0, std::remainder(w * static_cast<double>(x.at), 2 * pi));
    for (std::size_t i = 0; i < x.shape->length(); i += piece, turn *= on) {
      const std::size_t n = std::min(piece, x.shape->length() - i);
      const PieceSums sums = piece_sums(f.samples.data() + x.at + i, c.data(), s.data(), n);
      const auto at = static_cast<double>(x.at + i);
      t.sums.push_back(std::complex<double>(static_cast<double>(sums.re), static_cast<double>(sums.im)) *
                       turn);
      t.at.push_back(at + 0.5 * static_cast<double>(n - 1));
      t.power += static_cast<double>(sums.square);
      t.samples += static_cast<double>(n);
    }
  }
  return t;
}

// Least squares on what the stretches' own fits left of the tone; exact at any number of cycles in a stretch.
ToneSearch::Fit ToneSearch::fit(const Field& f, const Turned& t, double hz) const {
  const double w = 2 * pi * hz / rate_hz_;
  struct Left {
    std::array<std::complex<double>, 4> projections{};
    std::complex<double> squares{};
  };
  std::map<const FlatSpectrum*, Left> left;
  double cc = 0;
  double cs = 0;
  double ss = 0;
  for (const Stretch& s : f.stretches) {
    const auto length = static_cast<double>(s.shape->length());
    auto found = left.find(s.shape);
    if (found == left.end()) {
      // Sum of e^(2 j w n) over the stretch.
      const std::complex<double> squares =
          std::abs(std::sin(w)) < 1e-9
              ? std::complex<double>(length)
              : std::sin(w * length) / std::sin(w) * std::polar(1.0, w * (length - 1));
      found = left.emplace(s.shape, Left{s.shape->projections(w), squares}).first;
    }
    const std::complex<double> start = std::polar(1.0, std::remainder(w * static_cast<double>(s.at), 2 * pi));
    const std::complex<double> twice = found->second.squares * start * start;
    cc += 0.5 * (length + twice.real());
    ss += 0.5 * (length - twice.real());
    cs += 0.5 * twice.imag();
    for (const auto& q : found->second.projections) {
      const std::complex<double> p = q * start;
      cc -= p.real() * p.real();
      ss -= p.imag() * p.imag();
      cs -= p.real() * p.imag();
    }
  }
  std::complex<double> x{};
  const double dw = 2 * pi * (hz - t.hz) / rate_hz_;
  for (std::size_t i = 0; i < t.sums.size(); ++i)
    x += dw == 0 ? t.sums[i] : t.sums[i] * std::polar(1.0, dw * t.at[i]);
  const double det = cc * ss - cs * cs;
  if (!(det > 1e-6 * cc * ss)) return {};
  Fit out;
  const double a = (x.real() * ss - x.imag() * cs) / det;
  const double b = (x.imag() * cc - x.real() * cs) / det;
  out.amplitude = {a, b};
  out.explained = a * x.real() + b * x.imag();
  out.variance = std::max(0.0, t.power - out.explained) / t.samples * 0.5 * (cc + ss) / det;
  return out;
}

// Subcarrier is no tone in the noise, also where no burst was found to tell which one it is.
bool ToneSearch::is_colour(double hz) const {
  if (subcarrier_hz_ > 0) return std::abs(hz - subcarrier_hz_) < subcarrier_guard_hz;
  return std::ranges::any_of(std::array{&standards::video_525, &standards::video_625}, [&](const auto* s) {
    return std::abs(hz - s->subcarrier_hz.value()) < subcarrier_guard_hz;
  });
}

// The frequency near t.hz at which the fit explains most, by a parabola through three, the step shrinking.
double ToneSearch::refine(const Field& f, const Turned& t) const {
  double hz = t.hz;
  double step = 0.5 * rate_hz_ / static_cast<double>(length_);
  const auto explained = [&](double x) { return fit(f, t, x).explained; };
  double at = explained(hz);
  for (int round = 0; round < 6; ++round) {
    const double lo = explained(hz - step);
    const double hi = explained(hz + step);
    const double bend = lo - 2 * at + hi;
    const double move = bend < 0 ? std::clamp(0.5 * (lo - hi) / bend, -1.0, 1.0) : (hi > lo ? 1.0 : -1.0);
    const double there = explained(hz + move * step);
    if (there > at) {
      hz += move * step;
      at = there;
    }
    step *= 0.4;
  }
  return hz;
}

// Lines are seen through a gate, so a tone stands at its frequency and, weaker or not, at line rates from it:
// the one that explains most is it.
double ToneSearch::unfold(double hz, double least_hz) const {
  const Field& f = fields_.front();
  double best = hz;
  double most = 0;
  for (int m = -unfold_lines; m <= unfold_lines; ++m) {
    const double at = hz + m * line_hz_;
    if (at < least_hz || at > 0.48 * rate_hz_) continue;
    if (subcarrier_hz_ > 0 && is_colour(at)) continue;  // was taken out already
    const double explained = fit(f, turned(f, at), at).explained;
    if (explained > most) {
      most = explained;
      best = at;
    }
  }
  return best;
}

// Fine picture that passed for flat spreads over many multiples of the line rate round a frequency, and
// taking one tone out leaves the others.
bool ToneSearch::is_tone(double hz, const std::vector<double>& before, dsp::RealFft& fft) const {
  const Field without = without_tone(fields_.front(), hz);
  const std::vector<double> after = spectrum(without, fft);
  const double step = rate_hz_ / static_cast<double>(length_);
  double sum_before = 0;
  double sum_after = 0;
  for (int m = -12; m <= 12; ++m) {
    const auto k = static_cast<std::ptrdiff_t>(std::lround((hz + m * line_hz_) / step));
    for (std::ptrdiff_t i = k - 2; i <= k + 2; ++i) {
      if (i < 0 || i >= static_cast<std::ptrdiff_t>(before.size())) continue;
      sum_before += before[static_cast<std::size_t>(i)];
      sum_after += after[static_cast<std::size_t>(i)];
    }
  }
  return sum_after < most_left * sum_before;
}

// Of the pieces' times, s.
double ToneSearch::spread_s(const Turned& t) const {
  double sum = 0;
  double sum2 = 0;
  const double first = t.at.front();
  for (const double x : t.at) {
    sum += x - first;
    sum2 += (x - first) * (x - first);
  }
  const auto n = static_cast<double>(t.at.size());
  return std::sqrt(std::max(0.0, sum2 / n - sum * sum / n / n)) / rate_hz_;
}

ToneSearch::Found ToneSearch::measured(double hz) const {
  struct Seen {
    double a = 0;
    double a_variance = 0;
    double hz = 0;
    double hz_variance = 0;
  };
  std::vector<Seen> seen;
  double rest = 0, samples = 0;
  for (const Field& f : fields_) {
    const Turned turn = turned(f, hz);
    const double at = refine(f, turn);
    const Fit t = fit(f, turn, at);
    const double a = std::sqrt(std::max(1e-12, std::norm(t.amplitude) - 2 * t.variance));
    // What the noise makes of it [Rife and Boorstyn 1974].
    const double hz_u = std::sqrt(t.variance) / (a * 2 * pi * spread_s(turn));
    seen.push_back({a, t.variance, at, hz_u * hz_u});
    rest += std::max(0.0, turn.power - t.explained) / turn.samples / static_cast<double>(fields_.size());
    samples += turn.samples;
  }
  Found out;
  const auto mean = [&](const auto& value, const auto& variance, double& u) {
    double sum = 0;
    double weight = 0;
    for (const Seen& x : seen) {
      sum += value(x) / variance(x);
      weight += 1 / variance(x);
    }
    const double m = sum / weight;
    double chi2 = 0;
    for (const Seen& x : seen) chi2 += (value(x) - m) * (value(x) - m) / variance(x);
    // A tone that wanders scatters by more than the noise makes it.
    const auto freedom = static_cast<double>(seen.size() - 1);
    const bool wanders = freedom >= 1 && chi2 > freedom + 3 * std::sqrt(2 * freedom);
    u = 2 / std::sqrt(weight);
    if (wanders) u = coverage_factor(freedom) * std::sqrt(chi2 / freedom / weight);
    return m;
  };
  double a_u = 0;
  out.pp_mv = 2 * mean([](const Seen& x) { return x.a; }, [](const Seen& x) { return x.a_variance; }, a_u);
  out.pp_u = 2 * a_u;
  out.rest_mv = std::sqrt(rest);
  out.samples = samples;
  out.hz = mean([](const Seen& x) { return x.hz; }, [](const Seen& x) { return x.hz_variance; }, out.hz_u);
  const double seconds = static_cast<double>(length_) / rate_hz_;
  const double near = std::min(0.3 / seconds, std::max(locked_hz, out.hz_u));
  out.line_locked = std::abs(std::remainder(out.hz, line_hz_)) < near;
  return out;
}

// Leaves the stretches that are noise alone.
void ToneSearch::sort_out(std::span<const FlatSpectrum* const> noise_alone) {
  for (Field& f : fields_) {
    std::erase_if(f.stretches, [&](const Stretch& s) {
      if (std::find(noise_alone.begin(), noise_alone.end(), s.shape) != noise_alone.end()) return false;
      std::fill_n(f.samples.begin() + static_cast<std::ptrdiff_t>(s.at), s.shape->length(), 0.0F);
      return true;
    });
  }
  std::erase_if(fields_, [](const Field& f) { return f.stretches.size() < least_stretches; });
}

// The longest length of which every field has enough says how low a tone can be seen.
double ToneSearch::lowest_hz() const {
  std::map<std::size_t, std::size_t> least;
  for (const Field& f : fields_) {
    std::map<std::size_t, std::size_t> n;
    for (const Stretch& s : f.stretches) ++n[s.shape->length()];
    for (const auto& [length, count] : n) {
      if (count >= least_stretches) ++least[length];
    }
  }
  for (auto i = least.rbegin(); i != least.rend(); ++i) {
    if (2 * i->second >= fields_.size()) return cycles_in_stretch * rate_hz_ / static_cast<double>(i->first);
  }
  return 0.1 * rate_hz_;
}

// A tone that keeps its frequency for a line only: fitted to each by itself, at the one of the multiples of
// the line rate away that explains most.
ToneSearch::Found ToneSearch::line_by_line(double hz, int lines_away, double least_hz) {
  Field& whole = fields_.front();
  const auto period = static_cast<std::size_t>(rate_hz_ / line_hz_);
  Field line{whole.begin, std::move(whole.samples), {}};
  Found out;
  double most = 0;
  for (int m = -lines_away; m <= lines_away; ++m) {
    const double at = hz + m * line_hz_;
    if (at < least_hz || at > 0.48 * rate_hz_ || is_colour(at)) continue;
    double explained = 0, power_of_all = 0, samples = 0;
    double square = 0;
    double weights = 0;
    double lines = 0;
    for (std::size_t i = 0; i < whole.stretches.size();) {
      line.stretches.clear();
      const std::size_t end = whole.stretches[i].at + period;
      for (; i < whole.stretches.size() && whole.stretches[i].at < end; ++i)
        line.stretches.push_back(whole.stretches[i]);
      const Turned t = turned(line, at);
      const Fit f = fit(line, t, at);
      if (!(f.variance > 0)) continue;
      explained += f.explained;
      power_of_all += t.power;
      samples += t.samples;
      square += (std::norm(f.amplitude) - 2 * f.variance) / f.variance;
      weights += 1 / f.variance;
      lines += 1;
    }
    if (explained <= most || weights <= 0) continue;
    most = explained;
    const double power = std::max(0.0, square / weights);
    const double power_u = 2 * std::sqrt(4 * power * weights + 4 * lines) / weights;
    const double pp = 2 * std::sqrt(power);
    out = {.hz = at,
           .hz_u = wander_hz,
           .pp_mv = pp,
           .pp_u = together(0.25 * pp, 2 * power_u / std::max(1e-9, pp)),
           .rest_mv = std::sqrt(std::max(0.0, power_of_all - explained) / samples),
           .samples = samples,
           .wanders = true};
  }
  whole.samples = std::move(line.samples);
  return out;
}

// Of a mean over so many exponential powers, for a mean of one.
double ToneSearch::median_of_mean() const {
  const auto fields = static_cast<double>(fields_.size());
  return fields > 1 ? 1 - 1 / (3 * fields) : std::numbers::ln2;
}

// What stands about a bin, as far as a supply's frequency wanders: mV^2 peak, of the fields' mean.
double ToneSearch::power_about(const std::vector<double>& sum_of_fields, std::size_t bin) const {
  constexpr double hann_bins = 1.5;  // that a line's power fills under the window
  const auto reach = static_cast<std::size_t>(wander_hz * static_cast<double>(length_) / rate_hz_);
  double sum = 0;
  for (std::size_t k = bin - std::min(bin, reach); k <= std::min(bin + reach, sum_of_fields.size() - 1); ++k)
    sum += sum_of_fields[k];
  return sum / hann_bins / static_cast<double>(fields_.size());
}

ToneSearch::Result ToneSearch::result(std::span<const FlatSpectrum* const> noise_alone, bool lines_alike) {
  sort_out(noise_alone);
  Result out;
  out.looked = !fields_.empty();
  if (!out.looked) return out;
  dsp::RealFft fft(length_);
  const std::vector<double> of_first = spectrum(fields_.front(), fft);
  std::vector<double> mean = of_first;
  for (auto f = fields_.begin() + 1; f != fields_.end(); ++f) {
    const std::vector<double> p = spectrum(*f, fft);
    for (std::size_t k = 0; k < p.size(); ++k) mean[k] += p[k];
  }
  const auto fields = static_cast<double>(fields_.size());
  const double step = rate_hz_ / static_cast<double>(length_);
  out.floor_mv = floor_of(mean);
  out.from_hz = lowest_hz();
  out.to_hz = 0.48 * rate_hz_;
  const double limit = threshold(fields);
  const auto first = static_cast<std::size_t>(out.from_hz / step);
  const auto last = static_cast<std::size_t>(out.to_hz / step);
  // Candidates, strongest first, each standing out of its surroundings (their median: lines do not count).
  struct Candidate {
    std::size_t bin;
    double power;
  };
  std::vector<Candidate> candidates;
  std::vector<double> block;
  double worst = 0;
  for (std::size_t b = first; b + background_bins < last; b += background_bins) {
    block.assign(mean.begin() + static_cast<std::ptrdiff_t>(b),
                 mean.begin() + static_cast<std::ptrdiff_t>(b + background_bins));
    const double background = dsp::quantile(block, 0.5) / median_of_mean();
    worst = std::max(worst, background);
    for (std::size_t k = b; k < b + background_bins; ++k) {
      if (is_colour(static_cast<double>(k) * step)) continue;
      if (mean[k] > limit * background && mean[k] >= mean[k - 1] && mean[k] >= mean[k + 1])
        candidates.push_back({k, mean[k]});
    }
  }
  out.least_pp_mv = 2 * std::sqrt(limit * worst / fields) * 1.2;
  std::sort(candidates.begin(), candidates.end(),
            [](const Candidate& a, const Candidate& b) { return a.power > b.power; });
  std::vector<double> tried;
  for (const Candidate& c : candidates) {
    const double hz = static_cast<double>(c.bin) * step;
    const bool same = std::any_of(tried.begin(), tried.end(), [&](double t) {
      return std::abs(std::remainder(hz - t, line_hz_)) < 4 * step;
    });
    if (same) continue;
    if (tried.size() == most_tried) break;
    tried.push_back(hz);
    const double unfolded = unfold(hz, out.from_hz);
    if (is_colour(unfolded)) continue;
    const double fine = refine(fields_.front(), turned(fields_.front(), unfolded));
    if (is_tone(fine, of_first, fft)) {
      out.tone = measured(fine);
      // Over a whole field a tone that wanders partly cancels.
      const Found by_line = line_by_line(fine, 0, out.from_hz);
      if (by_line.pp_mv > 1.05 * out.tone->pp_mv + by_line.pp_u - 0.25 * by_line.pp_mv) out.tone = by_line;
      return out;
    }
    // Picture, or a tone that does not keep its frequency over a field. Lines that are all alike leave
    // nothing but at multiples of their rate and, of colour, as far beside them as the subcarrier lies.
    const double pp = 2 * std::sqrt(power_about(mean, c.bin));
    out.least_pp_mv = std::max(out.least_pp_mv, pp);
    const auto theirs = [&](double f) { return std::abs(std::remainder(f, line_hz_)) < wander_hz; };
    if (lines_alike && subcarrier_hz_ > 0 && !out.tone && !theirs(hz) && !theirs(hz - subcarrier_hz_) &&
        !theirs(hz + subcarrier_hz_)) {
      const Found by_line = line_by_line(hz, unfold_lines, out.from_hz);
      if (by_line.pp_mv > 2 * by_line.pp_u) out.tone = by_line;
    }
  }
  return out;
}

}  // namespace linebench::measure
