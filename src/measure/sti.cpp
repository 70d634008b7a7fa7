#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/window.hpp>
#include <linebench/measure/sti.hpp>
#include <linebench/standards/stipa.hpp>
#include <linebench/standards/third_octave.hpp>
#include <numbers>
#include <random>
#include <stdexcept>
#include <vector>

namespace linebench::measure {
namespace {

using Complex = std::complex<double>;
using standards::stipa_bands;
constexpr std::size_t octaves = stipa_bands.size();

constexpr double look_s = 8.0;           // stretch in which the signal is looked for
constexpr double look_rate_hz = 30.0;    // envelope samples a second, enough for 10 Hz
constexpr double frame_rate_hz = 100.0;  // of the stored intensities
constexpr double longest_s = 120.0;
constexpr double shortest_s = 8.0;
constexpr double lowest_rate_hz = 24000.0;  // the 8 kHz octave reaches 11.2 kHz
constexpr int edge_order =
    12;  // steep, so that the neighbours' carriers half an octave away do not dilute the modulation
constexpr double line_clear = 5.0;       // an expected modulation over its surroundings, power
constexpr std::size_t lines_needed = 4;  // of the six looked at
constexpr double least_intensity = 1e-11;
constexpr int trials = 400;

// Least-squares amplitude of a sine in evenly spaced values whose mean was taken out; 2/N sum is enough for a
// look.
double line_power(const std::vector<double>& v, double hz, double rate_hz) {
  Complex sum;
  const Complex turn = std::polar(1.0, -2 * std::numbers::pi * hz / rate_hz);
  Complex z = 1;
  for (const double x : v) {
    sum += x * z;
    z *= turn;
  }
  return std::norm(sum);
}

// Do the envelopes of three octaves carry the modulations of STIPA?
bool looks_like_stipa(std::span<const float> x, double rate_hz, dsp::RealFft& fft,
                      std::span<const double> window) {
  const std::size_t n = window.size();
  const double hop = rate_hz / look_rate_hz;
  std::array<std::vector<double>, 3> envelope;
  constexpr std::size_t first = 2;  // 500 Hz, 1 kHz, 2 kHz
  for (double at = 0; at + static_cast<double>(n) <= static_cast<double>(x.size()); at += hop) {
    const float* from = x.data() + static_cast<std::size_t>(at);
    for (std::size_t i = 0; i < n; ++i) fft.input()[i] = window[i] * static_cast<double>(from[i]);
    fft.forward();
    for (std::size_t b = 0; b < 3; ++b) {
      const double centre = stipa_bands[first + b].centre_hz * static_cast<double>(n) / rate_hz;
      double sum = 0;
      for (auto k = static_cast<std::size_t>(std::lround(centre / 1.25));
           static_cast<double>(k) <= centre * 1.25; ++k) {
        sum += std::norm(fft.output()[k]);
      }
      envelope[b].push_back(sum);
    }
  }
  std::size_t clear = 0;
  for (std::size_t b = 0; b < 3; ++b) {
    double mean = 0;
    for (const double v : envelope[b]) mean += v;
    mean /= static_cast<double>(envelope[b].size());
    if (!(mean > 0)) return false;
    for (double& v : envelope[b]) v = v / mean - 1;
    const double seconds = static_cast<double>(envelope[b].size()) / look_rate_hz;
    for (const double hz : stipa_bands[first + b].modulation) {
      double around = 0;
      int count = 0;
      for (const double off : {-5.5, -4.5, -3.5, -2.5, 2.5, 3.5, 4.5, 5.5}) {
        const double f = hz + off / seconds;
        if (f < 0.2) continue;
        around += line_power(envelope[b], f, look_rate_hz);
        ++count;
      }
      clear += line_power(envelope[b], hz, look_rate_hz) > line_clear * around / count ? 1 : 0;
    }
  }
  return clear >= lines_needed;
}

struct Fit {
  double mean = 0;
  std::array<double, 2> ratio{};  // received over sent depth
  std::array<double, 2> sigma{};  // of it, rms of the complex error
};

// Joint fit of mean and both modulations to an octave's intensities.
Fit fit_octave(const std::vector<double>& v, std::size_t octave, double clock) {
  const auto n = static_cast<Eigen::Index>(v.size());
  const auto& fm = stipa_bands[octave].modulation;
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(5, 5);
  Eigen::VectorXd right = Eigen::VectorXd::Zero(5);
  const auto row = [&](Eigen::Index i) {
    const double t = (static_cast<double>(i) + 0.5) / frame_rate_hz * 2 * std::numbers::pi * (1 + clock);
    Eigen::VectorXd r(5);
    r << 1, std::cos(fm[0] * t), std::sin(fm[0] * t), std::cos(fm[1] * t), std::sin(fm[1] * t);
    return r;
  };
  for (Eigen::Index i = 0; i < n; ++i) {
    const Eigen::VectorXd r = row(i);
    normal.noalias() += r * r.transpose();
    right.noalias() += v[static_cast<std::size_t>(i)] * r;
  }
  const Eigen::VectorXd a = normal.ldlt().solve(right);
  std::vector<double> rest(v.size());
  for (Eigen::Index i = 0; i < n; ++i)
    rest[static_cast<std::size_t>(i)] = v[static_cast<std::size_t>(i)] - row(i).dot(a);
  Fit f;
  f.mean = a[0];
  const double seconds = static_cast<double>(v.size()) / frame_rate_hz;
  for (int j = 0; j < 2; ++j) {
    const double hz = fm[static_cast<std::size_t>(j)];
    // Frames average the intensity over 10 ms, which takes a known part of the modulation.
    const double x = std::numbers::pi * hz / frame_rate_hz;
    const double scale = x / std::sin(x) / (standards::stipa_depth * a[0]);
    const double depth = std::hypot(a[1 + 2 * j], a[2 + 2 * j]) * scale;
    double square = 0;
    int count = 0;
    for (double off = 1.5; off < 10; off += 1) {
      for (const double f_off : {hz - off / seconds, hz + off / seconds}) {
        if (f_off < 0.5 / seconds) continue;
        square += line_power(rest, f_off, frame_rate_hz);
        ++count;
      }
    }
    const double sigma = 2.0 / static_cast<double>(v.size()) * std::sqrt(square / std::max(1, count)) * scale;
    f.sigma[static_cast<std::size_t>(j)] = sigma;
    f.ratio[static_cast<std::size_t>(j)] = std::sqrt(std::max(0.0, depth * depth - sigma * sigma));
  }
  return f;
}

double sti_of(const std::array<std::array<double, 2>, octaves>& ratio) {
  std::array<double, octaves> mti{};
  for (std::size_t b = 0; b < octaves; ++b) {
    mti[b] = 0.5 * (standards::transmission_index(ratio[b][0]) + standards::transmission_index(ratio[b][1]));
  }
  return standards::speech_transmission_index(mti);
}

constexpr const char* not_there =
    "the STIPA signal is not to be seen in this capture; send the signal \"stipa\" for 15 s, and where it "
    "was sent say "
    "so with --signal stipa";

}  // namespace

struct StiAnalyser::Impl {
  double rate_hz;
  bool known;
  bool running = false;
  bool enough = false;
  std::vector<float> waiting;
  std::size_t skip = 0;  // samples left to let pass before the next look
  std::uint64_t seen = 0;
  dsp::RealFft fft;
  std::vector<double> window;
  std::vector<dsp::Cascade> high, low;
  std::array<std::vector<double>, octaves> frames;
  std::array<double, octaves> sum{};
  std::uint64_t filtered = 0;
  std::size_t in_frame = 0;

  Impl(double rate, bool known_stipa)
      : rate_hz(rate),
        known(known_stipa),
        fft(dsp::next_fast_size(static_cast<std::size_t>(rate * 0.0105))),
        window(dsp::make_window(dsp::Window::Hann, fft.size())) {
    if (known && rate_hz >= lowest_rate_hz) start();
  }

  void start() {
    running = true;
    const double half = std::sqrt(standards::octave_ratio);
    for (const auto& b : stipa_bands) {
      high.push_back(dsp::butterworth_highpass(edge_order, b.centre_hz / half, rate_hz));
      low.push_back(dsp::butterworth_lowpass(edge_order, b.centre_hz * half, rate_hz));
    }
  }

  void filter(std::span<const float> x) {
    for (const float v : x) {
      if (frames[0].size() >= static_cast<std::size_t>(longest_s * frame_rate_hz)) return;
      for (std::size_t b = 0; b < octaves; ++b) {
        const double y = low[b].step(high[b].step(static_cast<double>(v)));
        sum[b] += y * y;
      }
      ++filtered;
      ++in_frame;
      // Frames end at the sample nearest their time, so that none drifts at rates like 44.1 kHz.
      if (static_cast<double>(filtered) >=
          static_cast<double>(frames[0].size() + 1) * rate_hz / frame_rate_hz) {
        for (std::size_t b = 0; b < octaves; ++b) {
          frames[b].push_back(sum[b] / static_cast<double>(in_frame));
          sum[b] = 0;
        }
        in_frame = 0;
      }
    }
  }

  void look() {
    if (looks_like_stipa(waiting, rate_hz, fft, window)) {
      start();
      filter(waiting);
    } else if (seen > static_cast<std::uint64_t>(3 * look_s * rate_hz)) {
      skip = static_cast<std::size_t>(look_s * rate_hz);  // not there so far: look at every other stretch
    }
    waiting.clear();
  }
};

StiAnalyser::StiAnalyser(double rate_hz, bool known_stipa) {
  if (!(rate_hz >= 1000)) throw std::invalid_argument("StiAnalyser: sample rate must be 1 kHz or more");
  impl_ = std::make_unique<Impl>(rate_hz, known_stipa);
}
StiAnalyser::~StiAnalyser() = default;
StiAnalyser::StiAnalyser(StiAnalyser&&) noexcept = default;
StiAnalyser& StiAnalyser::operator=(StiAnalyser&&) noexcept = default;

void StiAnalyser::push(std::span<const float> samples) {
  Impl& m = *impl_;
  if (m.rate_hz < lowest_rate_hz) return;
  const auto whole = static_cast<std::size_t>(look_s * m.rate_hz);
  while (!samples.empty()) {
    if (m.running) {
      m.filter(samples);
      return;
    }
    if (m.skip > 0) {
      const std::size_t part = std::min(m.skip, samples.size());
      m.skip -= part;
      samples = samples.subspan(part);
      continue;
    }
    const std::size_t part = std::min(samples.size(), whole - m.waiting.size());
    m.waiting.insert(m.waiting.end(), samples.begin(), samples.begin() + static_cast<std::ptrdiff_t>(part));
    m.seen += part;
    samples = samples.subspan(part);
    if (m.waiting.size() == whole) m.look();
  }
}

StiResult StiAnalyser::finish() {
  Impl& m = *impl_;
  StiResult r;
  if (m.rate_hz < lowest_rate_hz) {
    r.reason = fmt::format("sample rate {:g} Hz does not hold the 8 kHz octave; record at 44.1 kHz or more",
                           m.rate_hz);
    return r;
  }
  const auto least = static_cast<std::size_t>(shortest_s * frame_rate_hz);
  if (!m.running) {
    r.reason = not_there;
    return r;
  }
  // The stretch in which the signal is on: total intensity, averaged over a second, within 10 dB of its
  // median.
  const std::size_t n = m.frames[0].size();
  const auto second = static_cast<std::size_t>(frame_rate_hz);
  std::vector<double> running(n + 1, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    double total = 0;
    for (const auto& f : m.frames) total += f[i];
    running[i + 1] = running[i] + total;
  }
  const double mean = n > 0 ? running[n] / static_cast<double>(n) : 0;
  if (!(mean > least_intensity)) {
    r.reason = "no signal came back; check the cabling, then send the signal \"stipa\" again";
    return r;
  }
  std::size_t from = 0;
  std::size_t to = n;
  const std::size_t half = second / 2;
  while (from + half < n && running[from + half] - running[from] < 0.2 * mean * static_cast<double>(half))
    ++from;
  while (to > from + half && running[to] - running[to - half] < 0.2 * mean * static_cast<double>(half)) --to;
  // What is left of an edge inside the outer half second, and the filters' settling.
  if (from > 0) from += half;
  if (to < n) to -= std::min(to, half);
  from = std::max<std::size_t>(from, 10);
  if (to < from + least) {
    r.reason =
        fmt::format("the STIPA signal lasts {:.1f} s; {:.0f} s are needed, {:.0f} s for standard practice",
                    to > from ? static_cast<double>(to - from) / frame_rate_hz : 0.0, shortest_s,
                    standards::stipa_standard_s);
    return r;
  }
  std::array<std::vector<double>, octaves> v;
  for (std::size_t b = 0; b < octaves; ++b) {
    v[b].assign(m.frames[b].begin() + static_cast<std::ptrdiff_t>(from),
                m.frames[b].begin() + static_cast<std::ptrdiff_t>(to));
  }
  r.used_s = static_cast<double>(to - from) / frame_rate_hz;
  // Player and recorder run on clocks of their own; the fastest modulations show by how much.
  double clock = 0;
  double best = -1;
  for (int step = -4; step <= 4; ++step) {
    const double c = step * 75e-6;
    double power = 0;
    for (std::size_t b = 0; b < octaves; ++b) {
      double octave_mean = 0;
      for (const double x : v[b]) octave_mean += x;
      octave_mean /= static_cast<double>(v[b].size());
      if (!(octave_mean > 0)) continue;
      power += line_power(v[b], stipa_bands[b].modulation[1] * (1 + c), frame_rate_hz) /
               (octave_mean * octave_mean);
    }
    if (power > best * (step == 0 ? 1.0 : 1.002)) {
      best = power;
      clock = c;
    }
  }
  std::array<Fit, octaves> fits;
  std::size_t strong = 0;
  for (std::size_t b = 0; b < octaves; ++b) {
    fits[b] = fit_octave(v[b], b, clock);
    r.modulation[b] = fits[b].ratio;
    for (std::size_t j = 0; j < 2; ++j) strong += fits[b].ratio[j] > 3 * fits[b].sigma[j] ? 1 : 0;
  }
  if (!m.known && strong < 6) {
    r.reason = not_there;
    return r;
  }
  for (const auto& f : fits) {
    for (const double x : f.ratio) {
      if (x > 1.3)
        r.reason =
            "a modulation came back deeper than it was sent: impulses or a limiter may have disturbed it; "
            "repeat";
    }
  }
  // The index is bent and clipped, so noise in the modulations shifts it as well as scattering it: both by
  // trial.
  const double plain = sti_of(r.modulation);
  std::mt19937 gen(1);
  std::normal_distribution<double> normal(0.0, std::numbers::sqrt2 / 2);
  double s1 = 0;
  double s2 = 0;
  for (int t = 0; t < trials; ++t) {
    auto ratio = r.modulation;
    for (std::size_t b = 0; b < octaves; ++b) {
      for (std::size_t j = 0; j < 2; ++j) {
        const double sigma = fits[b].sigma[j];
        const double re = std::min(1.0, ratio[b][j]) + sigma * normal(gen);
        const double im = sigma * normal(gen);
        ratio[b][j] = std::sqrt(std::max(0.0, re * re + im * im - sigma * sigma));
      }
    }
    const double s = sti_of(ratio);
    s1 += s;
    s2 += s * s;
  }
  s1 /= trials;
  const double shift = s1 - plain;
  r.sti = std::clamp(plain - shift, 0.0, 1.0);
  r.uncertainty = 2 * std::sqrt(std::max(0.0, s2 / trials - s1 * s1) + 0.25 * shift * shift) + 0.002;
  if (r.reason.empty() && r.used_s < standards::stipa_standard_s - 1) {
    r.reason = fmt::format("{:.0f} s only; standard practice is {:.0f} s or more", r.used_s,
                           standards::stipa_standard_s);
  }
  return r;
}

Readings to_readings(const StiResult& r, std::string_view suffix) {
  const std::string id = "audio.sti" + std::string(suffix);
  if (!r.sti) return {unmeasurable(id, r.reason)};
  const std::string note = "without masking and reception threshold, which need the sound pressure level";
  return {number_reading(id, *r.sti, r.uncertainty, r.reason.empty() ? note : r.reason + "; " + note)};
}

}  // namespace linebench::measure
