#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <linebench/dsp/window.hpp>
#include <linebench/measure/statistics.hpp>
#include <linebench/measure/whistle.hpp>
#include <numbers>

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
constexpr double two_pi = 2.0 * std::numbers::pi;
constexpr std::array<double, 2> line_rates_hz{15625.0, 4.5e6 / 286.0};  // 625 and 525 lines [BT.1700]
constexpr double search_share = 0.001;
constexpr double centre_hz = 15680.0;
constexpr double baseband_hz = 400.0;
constexpr double stretch_s = 10.0;
// Taps per baseband sample: the four-term window then keeps folding below -92 dB where the rates are looked
// for.
constexpr std::size_t overlap = 6;
// Noise beside the line is taken from this far on either side.
constexpr double beside_hz = 25.0;
// -ln of the chance that noise alone makes one peak anywhere in the search.
constexpr double evidence_beyond_trials = 9.0;

// So many lines nearly as strong near it make it one of a comb or of quantisation's, not a line rate.
constexpr int crowd = 6;
constexpr double crowd_share = 0.25;  // of its power
// Or two, one so far above and one as far below: multiples of the mains or of twice it, as a dimmer makes
// them up here.
constexpr double least_comb_hz = 40.0;
constexpr double most_comb_hz = 130.0;
constexpr double stands_out = 9.0;  // power over the mean of the noise
// Below these nothing is to be believed: the arithmetic is in floats, whose rounding follows the loudest
// tone; and no converter reaches so low.
constexpr double arithmetic_share = 1e-14;
constexpr double smallest_power = 1e-15;

bool in_search(double hz) {
  return std::any_of(line_rates_hz.begin(), line_rates_hz.end(),
                     [&](double f) { return std::abs(hz - f) <= search_share * f; });
}

struct Line {
  double hz = 0;
  double hz_variance = 0;
  Complex a;            // peak amplitude
  double variance = 0;  // E|error|^2 of it
  bool found = false;
  bool crowded = false;  // one of many like it
};

// Gain of the band-pass, 1 at its centre.
double gain_at(double hz, double baseband_rate) {
  return dsp::window_response(dsp::Window::BlackmanHarris4,
                              (hz - centre_hz) * static_cast<double>(overlap) / baseband_rate);
}

// The strongest line in the search bands of a stretch of baseband samples.
Line strongest_line(std::span<const Complex> z, double rate) {
  const std::size_t n = z.size();
  const std::size_t size = dsp::next_fast_size(2 * n);
  dsp::RealFft re(size);
  dsp::RealFft im(size);
  const auto w = dsp::make_window(dsp::Window::Hann, n);
  std::fill(re.input().begin(), re.input().end(), 0.0);
  std::fill(im.input().begin(), im.input().end(), 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    re.input()[i] = w[i] * z[i].real();
    im.input()[i] = w[i] * z[i].imag();
  }
  re.forward();
  im.forward();
  const double step = rate / static_cast<double>(size);
  const auto half = static_cast<long>(size / 2);
  const auto power = [&](long j) {
    const auto k = static_cast<std::size_t>(std::abs(j));
    const Complex r = re.output()[k];
    const Complex i = im.output()[k];
    const Complex rot(0.0, 1.0);
    return std::norm(j >= 0 ? r + rot * i : std::conj(r) + rot * std::conj(i));
  };
  long best = 0;
  double most = -1.0;
  for (long j = -half + 1; j < half; ++j) {
    if (!in_search(centre_hz + static_cast<double>(j) * step)) continue;
    const double p = power(j);
    if (p > most) {
      most = p;
      best = j;
    }
  }
  int others = 0;
  for (long j = -half + 2; j < half - 1; ++j) {
    if (std::abs(j - best) <= 8) continue;
    const double p = power(j);
    if (p > crowd_share * most && p >= power(j - 1) && p > power(j + 1)) ++others;
  }
  // Median of the bins beside it: other lines there do not raise it.
  std::vector<double> beside;
  const auto reach = static_cast<long>(beside_hz / step);
  for (long j = best - reach; j <= best + reach; ++j) {
    if (std::abs(j - best) > 8 && std::abs(j) < half) beside.push_back(power(j));
  }
  if (beside.size() < 8) return {};
  // Exponential distribution: median = ln 2 of the mean. sum w^2 = 3/8 n for the Hann window.
  const double noise = dsp::median(std::move(beside)) / std::numbers::ln2 /
                       (0.375 * static_cast<double>(n));  // E|noise|^2 per sample

  // What came in at a bin against what came in at the line, as the band-pass found it.
  const auto at_input = [&](long j) {
    const double gain = gain_at(centre_hz + static_cast<double>(j) * step, rate);
    return power(j) / (gain * gain);
  };
  const double here = at_input(best);
  const double enough =
      std::max(crowd_share, stands_out * noise * 0.375 * static_cast<double>(n) / most) * here;
  const auto peak = [&](long j) {
    return std::abs(j) < half - 1 && power(j) >= power(j - 1) && power(j) > power(j + 1) &&
           at_input(j) > enough;
  };
  bool comb = false;
  for (auto away = static_cast<long>(least_comb_hz / step); away <= static_cast<long>(most_comb_hz / step);
       ++away)
    comb =
        comb || (peak(best + away) && (peak(best - away - 1) || peak(best - away) || peak(best - away + 1)));

  // Newton on the phase slope, under the same window: other lines in the baseband stay out.
  Line line;
  double hz = static_cast<double>(best) * step;
  const double count = static_cast<double>(n);
  double w1 = 0, w2 = 0, wtt = 0, wwtt = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double t = (static_cast<double>(i) - 0.5 * count) / rate;
    w1 += w[i];
    w2 += w[i] * w[i];
    wtt += w[i] * t * t;
    wwtt += w[i] * w[i] * t * t;
  }
  for (int pass = 0; pass < 4; ++pass) {
    Complex sum = 0;
    Complex moment = 0;
    for (std::size_t i = 0; i < n; ++i) {
      const double t = (static_cast<double>(i) - 0.5 * count) / rate;
      const Complex u = w[i] * z[i] * std::polar(1.0, -two_pi * hz * t);
      sum += u;
      moment += u * t;
    }
    line.a = sum / w1;
    if (std::norm(line.a) <= 0.0) return {};
    hz += std::clamp((std::conj(line.a) * moment).imag() / (two_pi * std::norm(line.a) * wtt), -step, step);
  }
  line.hz = centre_hz + hz;
  line.variance = noise * w2 / (w1 * w1);
  line.hz_variance = noise * wwtt / (2.0 * std::norm(line.a) * two_pi * two_pi * wtt * wtt);
  const double trials = std::log(2.0 * 2.0 * search_share * centre_hz * count / rate + 1.0);
  line.crowded = comb || others >= crowd;
  line.found = !line.crowded && std::norm(line.a) > (evidence_beyond_trials + trials) * line.variance &&
               in_search(line.hz);
  return line;
}

}  // namespace

WhistleAnalyser::WhistleAnalyser(double rate_hz)
    : rate_hz_(rate_hz), hop_(static_cast<std::size_t>(std::max(1.0, std::floor(rate_hz / baseband_hz)))) {
  hop_ = (hop_ + 7) / 8 * 8;
  capacity_ = static_cast<std::size_t>(stretch_s * rate_hz / static_cast<double>(hop_));
  if (rate_hz_ < lowest_whistle_rate_hz) return;
  const std::size_t n = overlap * hop_;
  const auto w = dsp::make_window(dsp::Window::BlackmanHarris4, n);
  double sum = 0.0;
  for (const double v : w) sum += v;
  for (std::size_t i = 0; i < n; ++i) {
    const double phase = two_pi * std::fmod(centre_hz * static_cast<double>(i) / rate_hz, 1.0);
    cosine_.push_back(static_cast<float>(2.0 * w[i] / sum * std::cos(phase)));
    sine_.push_back(static_cast<float>(-2.0 * w[i] / sum * std::sin(phase)));
  }
}

LINEBENCH_VECTORISED void WhistleAnalyser::push(std::span<const float> channel_samples) {
  if (rate_hz_ < lowest_whistle_rate_hz) return;
  pending_.insert(pending_.end(), channel_samples.begin(), channel_samples.end());
  for (const float v : channel_samples) loudest_ = std::max(loudest_, std::abs(v));
  const std::size_t n = cosine_.size();
  std::size_t at = 0;
  for (; at + n <= pending_.size(); at += hop_) {
    constexpr std::size_t lanes = 8;  // n is a multiple
    dsp::Eight re{};
    dsp::Eight im{};
    const float* x = pending_.data() + at;
    for (std::size_t i = 0; i < n; i += lanes) {
      dsp::Eight sample, cosine, sine;
      LINEBENCH_LOAD_EIGHT(sample, x + i);
      LINEBENCH_LOAD_EIGHT(cosine, cosine_.data() + i);
      LINEBENCH_LOAD_EIGHT(sine, sine_.data() + i);
      re += sample * cosine;
      im += sample * sine;
    }
    Complex z = 0;
    for (std::size_t l = 0; l < lanes; ++l)
      z += Complex(static_cast<double>(re[l]), static_cast<double>(im[l]));
    // The kernel starts its phase at every window anew; turn it back to run on.
    z *= std::polar(1.0, -two_pi * turns_);
    turns_ = std::fmod(turns_ + centre_hz * static_cast<double>(hop_) / rate_hz_, 1.0);
    if (std::isfinite(z.real()) && std::isfinite(z.imag())) stretch_.push_back(z);
    if (stretch_.size() == capacity_) process();
  }
  pending_.erase(pending_.begin(), pending_.begin() + static_cast<std::ptrdiff_t>(at));
}

void WhistleAnalyser::process() {
  const double rate = rate_hz_ / static_cast<double>(hop_);
  const double t = static_cast<double>(stretch_.size()) / rate;
  Line line = strongest_line(stretch_, rate);
  stretch_.clear();
  const double gain = gain_at(line.hz, rate);
  const double square = gain * gain;
  seconds_ += t;
  const double trials = std::log(4.0 * search_share * centre_hz * t + 1.0);
  const double margin = std::pow(std::sqrt(evidence_beyond_trials + trials) + std::sqrt(2.0), 2.0);
  double least = 0.5 * margin * line.variance / square;
  const double power = 0.5 * std::norm(line.a) / square;
  const auto loudest = static_cast<double>(loudest_);
  const double floor = std::max(smallest_power, arithmetic_share * loudest * loudest);
  if (line.crowded || power < floor) least = std::max(least, power);
  if (line.hz > 0.0) least_time_ += t * std::max(least, floor);
  if (!line.found || power < floor) return;
  const double mean = frequency_weight_ > 0 ? frequency_sum_ / frequency_weight_ : line.hz;
  if (std::abs(line.hz - mean) > 2.0) return;
  found_seconds_ += t;
  frequency_sum_ += line.hz / line.hz_variance;
  frequency_weight_ += 1.0 / line.hz_variance;
  power_time_ += t * 0.5 * (std::norm(line.a) - line.variance) / square;
  power_variance_time_ += t * t * 0.5 * std::norm(line.a) * line.variance / (square * square);
}

WhistleResult WhistleAnalyser::finish() {
  WhistleResult r;
  r.rate_too_low = rate_hz_ < lowest_whistle_rate_hz;
  const double rate = rate_hz_ / static_cast<double>(hop_);
  const double tail = static_cast<double>(stretch_.size()) / rate;
  if (!r.rate_too_low && (seconds_ > 0.0 ? tail > 0.25 * stretch_s : tail >= 0.9 * shortest_whistle_s))
    process();
  r.seconds = seconds_;
  r.too_short = seconds_ <= 0.0;
  if (r.rate_too_low || r.too_short) return r;
  r.least_power = std::max(least_time_ / seconds_, smallest_power);
  r.found = found_seconds_ >= 0.34 * seconds_ && power_time_ > 0.0;
  if (!r.found) return r;
  r.frequency_hz = frequency_sum_ / frequency_weight_;
  r.frequency_u = std::sqrt(1.0 / frequency_weight_);
  r.power = power_time_ / found_seconds_;
  r.power_u = std::sqrt(power_variance_time_) / found_seconds_;
  return r;
}

Readings to_readings(const WhistleResult& result, std::string_view suffix) {
  const std::string frequency = fmt::format("audio.whistle.frequency{}", suffix);
  const std::string level = fmt::format("audio.whistle.level{}", suffix);
  std::string reason;
  std::optional<double> at_most;
  if (result.rate_too_low) {
    reason = fmt::format("the sample rate is too low for the line rate: record at {:g} Hz or more",
                         lowest_whistle_rate_hz);
  } else if (result.too_short) {
    reason = fmt::format("too short for line whistle: {:.1f} s or more is needed", shortest_whistle_s);
  } else if (!result.found) {
    at_most = dbfs_from_power(result.least_power);
    reason = fmt::format("no line whistle found: anything there is below {:.1f} dBFS", *at_most);
  } else {
    return {
        number_reading(frequency, result.frequency_hz, 2.0 * result.frequency_u),
        number_reading(level, dbfs_from_power(result.power), expanded_u_db(result.power, result.power_u))};
  }
  return {unmeasurable(frequency, reason), unmeasurable(level, reason, at_most)};
}

}  // namespace linebench::measure
