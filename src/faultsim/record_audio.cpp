// Audio captures of a simulated installation.
#include <algorithm>
#include <array>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/faultsim/captures.hpp>
#include <linebench/signals/audio_signal.hpp>
#include <numbers>

namespace linebench::faultsim {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;
constexpr double line_up_dbfs = -18;    // [EBU R 68]
constexpr double programme_dbfs = -23;  // rms of each side; about the loudness of a speech band [EBU R 128]

using Wave = std::vector<double>;

void add_sine(Wave& x, double rate, double hz, double peak, double turn) {
  if (!(peak > 1e-7) || hz > 0.45 * rate) return;
  // Rotating pointers, one for each sample of a row, set anew from the clock every 1024.
  constexpr std::size_t row = 4;
  constexpr std::size_t anew = 1024;
  const double c = std::cos(two_pi * hz * row / rate);
  const double s = std::sin(two_pi * hz * row / rate);
  std::array<double, row> re{}, im{};
  for (std::size_t n = 0; n < x.size(); n += row) {
    for (std::size_t k = 0; n % anew == 0 && k < row; ++k) {
      const double at = two_pi * (std::fmod(hz * static_cast<double>(n + k) / rate, 1.0) + turn);
      re[k] = peak * std::cos(at);
      im[k] = peak * std::sin(at);
    }
    const std::size_t wanted = std::min(row, x.size() - n);
    for (std::size_t k = 0; k < wanted; ++k) x[n + k] += im[k];
    for (std::size_t k = 0; k < row; ++k) {
      const double next = re[k] * c - im[k] * s;
      im[k] = re[k] * s + im[k] * c;
      re[k] = next;
    }
  }
}

// Where each multiple stands against the fundamental is the source's and alike on all wires it reaches.
void add_comb(Wave& x, double rate, double hz, const Comb& c, const std::vector<double>& turns) {
  for (int n = 1; n <= harmonics; ++n)
    add_sine(x, rate, n * hz, c[static_cast<std::size_t>(n)] / full_scale_v,
             turns[static_cast<std::size_t>(n)]);
}

void add_noise(Wave& x, double rms_fs, Dice& d) {
  for (double& v : x) v += rms_fs * d.quick_normal();
}

// Bursts of one slot of eight, 26 frames in 120 ms [ETSI TS 145 002], as an input stage detects them.
void add_phone(Wave& x, double rate, double rms_fs) {
  constexpr double frame_s = 0.12 / 26;
  const double rounding = std::exp(-1 / (60e-6 * rate));
  const double peak = rms_fs / std::sqrt(0.125 * 0.875);
  double y = 0;
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = std::fmod(static_cast<double>(n) / rate, frame_s);
    y = rounding * y + (1 - rounding) * (t < frame_s / 8 ? 1.0 : 0.0);
    x[n] += peak * (y - 0.125);
  }
}

void add_events(Wave& x, double rate, const AudioPath& p, Dice& d) {
  const double seconds = static_cast<double>(x.size()) / rate;
  const auto at = [&] {
    return static_cast<std::size_t>(d.uniform(0.02, 0.96) * static_cast<double>(x.size()));
  };
  for (int k = d.poisson(p.dropouts * seconds / 60); k > 0; --k) {
    const std::size_t from = at();
    const auto length = static_cast<std::size_t>(d.uniform(0.025, 0.08) * rate);
    std::fill(x.begin() + static_cast<std::ptrdiff_t>(from),
              x.begin() + static_cast<std::ptrdiff_t>(std::min(x.size(), from + length)), 0.0);
  }
  for (int k = d.poisson(p.clicks * seconds / 60); k > 0; --k) {
    double tick = d.uniform(0.15, 0.5);
    const std::size_t from = at();
    for (std::size_t n = from; n < std::min(x.size(), from + 14); ++n) {
      x[n] += tick;
      tick *= -0.62;
    }
  }
}

// A contact whose resistance jumps: the level changes at random moments and comes back at others.
void add_steps(Wave& x, double rate, const AudioPath& p, Dice& d) {
  if (!(p.steps > 0)) return;
  const double low = amplitude_from_db(p.step_db);
  bool down = false;
  double until = 0;
  for (std::size_t n = 0; n < x.size(); ++n) {
    if (static_cast<double>(n) >= until) {
      down = !down;
      until = static_cast<double>(n) - rate * 60 / p.steps * std::log(std::max(d.uniform(0, 1), 1e-6));
    }
    if (down) x[n] *= low;
  }
}

// What stands on the wire beside the signal.
void add_interference(Wave& x, double rate, const AudioPath& p, const Installation& s,
                      const std::vector<double>& turns, Dice& d) {
  add_comb(x, rate, s.mains_hz, p.hum, turns);
  add_comb(x, rate, s.field_hz, p.field_hum, turns);
  const double line_hz = s.field_hz * (s.video.system == "625" ? 312.5 : 262.5);
  add_sine(x, rate, line_hz, p.whistle_v / full_scale_v, 0.1);
  if (p.phone_v > 0) add_phone(x, rate, p.phone_v / full_scale_v / std::numbers::sqrt2);
  // The path's noise is given A weighted; a flat band of half the rate weighs 2.2 dB less at 48 kHz (by the
  // curve of IEC 61672-1).
  add_noise(x, amplitude_from_db(2.2) * p.noise_v / full_scale_v / std::numbers::sqrt2, d);
}

// Tops cut at the rail, or by a stage on the way, wherever as many are cut as it cuts.
void clip(Wave& x, double rate, const AudioPath& p) {
  double rail = amplitude_from_db(p.clip_dbfs) * (1 - 0x1p-15);
  const double share = std::min(0.2, p.clipped / (60 * rate));
  if (p.clipped > 1 && p.clip_dbfs < 0) {
    std::vector<double> sizes(x.size());
    std::transform(x.begin(), x.end(), sizes.begin(), [](double v) { return std::abs(v); });
    const auto k = static_cast<std::ptrdiff_t>((1 - share) * static_cast<double>(x.size() - 1));
    std::nth_element(sizes.begin(), sizes.begin() + k, sizes.end());
    if (const double top = sizes[static_cast<std::size_t>(k)]; top > 0) rail = std::min(rail, top);
  }
  if (p.clipped <= 1) rail = 1;
  for (double& v : x) v = std::clamp(v, -rail, rail);
}

std::vector<double> draw_turns(Dice& d) {
  std::vector<double> turns(harmonics + 1);
  for (double& t : turns) t = d.uniform(0, 1);
  return turns;
}

AudioTake interleave(const Wave& left, const Wave& right, double rate) {
  AudioTake take;
  take.rate_hz = rate;
  take.samples.resize(2 * left.size());
  for (std::size_t n = 0; n < left.size(); ++n) {
    take.samples[2 * n] = static_cast<float>(std::clamp(left[n], -1.0, 1.0));
    take.samples[2 * n + 1] = static_cast<float>(std::clamp(right[n], -1.0, 1.0));
  }
  return take;
}

// A band of noise like speech's, in syllables with pauses, rms 1 while it sounds.
Wave speech_band(std::size_t count, double rate, Dice& d) {
  Wave x(count, 0.0);
  add_noise(x, 1, d);
  dsp::Cascade low = dsp::butterworth_lowpass(2, 2200, rate);
  dsp::Cascade high = dsp::butterworth_highpass(2, 250, rate);
  low.process(x);
  high.process(x);
  double sum = 0;
  for (const double v : x) sum += v * v;
  const double scale = std::sqrt(static_cast<double>(count) / sum);
  std::size_t n = 0;
  while (n < count) {
    const auto length = static_cast<std::size_t>(d.uniform(0.12, 0.3) * rate);
    const double loud = d.uniform(0.6, 1.25);
    for (std::size_t k = 0; k < length && n < count; ++k, ++n) {
      const double rise = std::sin(std::numbers::pi * static_cast<double>(k) / static_cast<double>(length));
      x[n] *= scale * loud * (0.25 + 0.75 * rise) * 1.35;
    }
  }
  return x;
}

// What a path and its recorder do to the wave on it, one after the other.
void take_over(Wave& x, double rate, const AudioPath& p, const Installation& s, std::uint64_t seed,
               const std::vector<double>& turns, Dice& d) {
  add_interference(x, rate, p, s, turns, d);
  clip(x, rate, p);
  Dice all(seed + 404);  // the recorder's gaps stand in every channel at once
  add_events(x, rate, p, s.gaps_in_all ? all : d);
}

// What arrives on the two lines of what was sent on each.
AudioTake over_lines(const Installation& s, std::uint64_t seed, const Wave (&sent)[2]) {
  constexpr double rate = 48000;
  Dice d(seed + 101);
  const std::vector<double> turns = draw_turns(d);
  const double leak = amplitude_from_db(s.crosstalk_db);
  Wave out[2];
  for (std::size_t k = 0; k < 2; ++k) {
    const AudioPath& p = s.lines[k];
    Wave& x = out[k];
    x = sent[k];
    const double gain = amplitude_from_db(p.gain_db) * (p.reversed ? -1 : 1);
    for (std::size_t n = 0; n < x.size(); ++n) x[n] = gain * x[n] + leak * sent[1 - k][n];
    Dice contact(seed + 505 + k);
    add_steps(x, rate, p, contact);
    take_over(x, rate, p, s, seed, turns, d);
  }
  return interleave(out[0], out[1], rate);
}

// A test signal's channels, as `signals write` makes them.
std::vector<Wave> test_signal(const char* recipe, const signals::AudioSignalOptions& options) {
  const auto source = signals::make_audio_signal(signals::load_recipe(recipe), options);
  const auto channels = static_cast<std::size_t>(source->facts().channels);
  std::vector<Wave> out(channels);
  std::vector<float> part(channels * 4096);
  while (const std::size_t n = source->read(part)) {
    for (std::size_t i = 0; i < n * channels; ++i) out[i % channels].push_back(static_cast<double>(part[i]));
  }
  return out;
}

// The path's gain, from its ends (350 Hz, 2.9 kHz) over 1 kHz even in dB by octave, and no further than twice
// as far beyond them.
void bend(Wave& x, double rate, const AudioPath& p) {
  dsp::RealFft fft(dsp::next_fast_size(x.size() + static_cast<std::size_t>(rate)));
  std::fill(fft.input().begin(), fft.input().end(), 0.0);
  std::copy(x.begin(), x.end(), fft.input().begin());
  fft.forward();
  const double step = rate / static_cast<double>(fft.size());
  for (std::size_t k = 0; k < fft.output().size(); ++k) {
    const double octaves = std::log2(std::max(step * static_cast<double>(k), 1.0) / 1000);
    const double end = std::log2(octaves < 0 ? 0.35 : 2.9);
    const double gain = p.gain_db + (octaves < 0 ? p.bottom_db : p.top_db) * std::min(octaves / end, 2.0);
    fft.output()[k] *= amplitude_from_db(gain) * (p.reversed ? -1 : 1) / static_cast<double>(fft.size());
  }
  fft.inverse();
  std::copy_n(fft.input().begin(), x.size(), x.begin());
}

Wave tone_of(const AudioPath& p, double seconds) {
  constexpr double rate = 48000;
  Wave x(static_cast<std::size_t>(seconds * rate), 0.0);
  const double tone = amplitude_from_db(line_up_dbfs);
  add_sine(x, rate, 1000, tone, 0);
  add_sine(x, rate, 2000, 0.6 * tone * p.thd_percent / 100, 0.3);
  add_sine(x, rate, 3000, 0.8 * tone * p.thd_percent / 100, 0);
  return x;
}

}  // namespace

AudioTake record_lines(const Installation& s, std::uint64_t seed, double seconds) {
  return over_lines(s, seed, {tone_of(s.lines[0], seconds), tone_of(s.lines[1], seconds)});
}

AudioTake record_idle(const Installation& s, std::uint64_t seed, double seconds) {
  const Wave nothing(static_cast<std::size_t>(seconds * 48000), 0.0);
  return over_lines(s, seed + 11, {nothing, nothing});
}

AudioTake record_sides(const Installation& s, std::uint64_t seed, double seconds) {
  signals::AudioSignalOptions o;
  o.seconds = seconds;
  const auto sent = test_signal("left-right", o);
  return over_lines(s, seed + 22, {sent[0], sent[1]});
}

AudioTake record_response(const Installation& s, std::uint64_t seed) {
  constexpr double rate = 48000;
  constexpr double lead_s = 0.2;
  Wave x(static_cast<std::size_t>(lead_s * rate), 0.0);
  const Wave sent = test_signal("sweep-speech", {}).front();
  x.insert(x.end(), sent.begin(), sent.end());
  x.resize(x.size() + x.size() / 20, 0.0);
  const AudioPath& p = s.lines[0];
  bend(x, rate, p);
  Dice contact(seed + 505);
  add_steps(x, rate, p, contact);
  Dice d(seed + 303);
  take_over(x, rate, p, s, seed, draw_turns(d), d);
  AudioTake take;
  take.rate_hz = rate;
  take.channels = 1;
  for (const double v : x) take.samples.push_back(static_cast<float>(std::clamp(v, -1.0, 1.0)));
  return take;
}

AudioTake record_feed(const Installation& s, std::uint64_t seed, double seconds) {
  constexpr double rate = 48000;
  Dice d(seed + 202);
  const std::vector<double> turns = draw_turns(d);
  const auto count = static_cast<std::size_t>(seconds * rate);
  const Wave middle = speech_band(count, rate, d);
  Wave out[2];
  for (std::size_t k = 0; k < 2; ++k) {
    const AudioPath& p = s.feed[k];
    Wave& x = out[k];
    x.assign(count, 0.0);
    const double level = amplitude_from_db(programme_dbfs + s.feed_db + p.gain_db) / std::numbers::sqrt2;
    if (!(s.feed_one_side && k == 1)) {
      const Wave side = s.feed_mono ? Wave(count, 0.0) : speech_band(count, rate, d);
      const double share = s.feed_mono ? 1 : std::sqrt(0.75);
      const double turn = s.feed_reversed && k == 1 ? -1 : 1;
      for (std::size_t n = 0; n < count; ++n) x[n] = turn * level * (share * middle[n] + 0.5 * side[n]);
    }
    take_over(x, rate, p, s, seed, turns, d);
  }
  return interleave(out[0], out[1], rate);
}

}  // namespace linebench::faultsim
