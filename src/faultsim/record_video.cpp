// Composite captures of a simulated installation: the camera's signal taken apart into sync, burst and
// picture, put together again with its faults, and led through cable, ends and hum.
#include <algorithm>
#include <array>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/faultsim/captures.hpp>
#include <linebench/signals/video_encoder.hpp>
#include <numbers>

namespace linebench::faultsim {
namespace {

using signals::CompositeEncoder;
using standards::VideoStandard;
constexpr double two_pi = 2 * std::numbers::pi;
using Wave = std::vector<float>;

const VideoStandard& standard_of(const Installation& s) {
  return *standards::find_video_standard(s.video.system);
}

// The camera's field rate re its standard's: the same samples further apart.
double pace(const Installation& s) { return s.field_hz / standard_of(s).field_rate_hz(); }

Wave encoded(const Installation& s, const char* name, double level, double rate, std::size_t count,
             bool colour) {
  const VideoStandard& standard = standard_of(s);
  signals::PictureSpec spec;
  spec.picture = name;
  spec.form = "100";
  spec.subcarrier = true;
  spec.level_percent = level;
  signals::EncoderOptions o;
  o.system = standard.system;
  o.sample_rate_hz = signals::exact_sample_rate(rate / pace(s), standard);
  o.colour = colour;
  CompositeEncoder encoder(signals::describe(spec, standard), o);
  Wave out(count);
  encoder.read(out);
  return out;
}

// A stage whose gain falls from black to white by this many per cent; white stays where it was.
double bent(double picture_v, double white_v, double percent) {
  const double k = std::min(0.95, percent / 100) / (2 * white_v);
  return picture_v * (1 - k * picture_v) / (1 - k * white_v);
}

// What leaves the camera: sync, burst and picture each at its level, some syncs left out.
Wave source(const Installation& s, double rate, std::size_t count, bool colour, bool staircase, Dice& d) {
  const VideoPath& v = s.video;
  const VideoStandard& standard = standard_of(s);
  const Wave sync = encoded(s, "sync", 0, rate, count, false);
  const Wave black = encoded(s, "flat", 0, rate, count, colour);
  const Wave bars = encoded(s, staircase ? "staircase" : "bars", 0, rate, count, colour);
  // Setup that the standard has not, or not as much of: a step under the whole picture.
  const double step_mv = v.setup_mv - standard.white_mv.nominal * standard.setup_fraction;
  const Wave full = std::abs(step_mv) > 10 ? encoded(s, "flat", 100, rate, count, colour) : Wave();
  const double white_v = standard.white_mv.nominal * (1 - standard.setup_fraction) / 1000;
  const double sync_gain = amplitude_from_db(v.sync_db);
  const double burst_gain = amplitude_from_db(v.burst_db - v.cable_burst_db);
  const double white_gain = amplitude_from_db(v.white_db);
  const double samples_a_line = rate / (standard.line_rate_hz.value() * pace(s));
  Wave out(count);
  std::int64_t line = -1;
  bool without = false;
  for (std::size_t n = 0; n < count; ++n) {
    // A line counts from a microsecond before its sync's edge.
    const auto at = static_cast<std::int64_t>((static_cast<double>(n) + 1e-6 * rate) / samples_a_line);
    if (at != line) {
      line = at;
      const auto in_field = at % (standard.lines_per_frame / 2);
      without = in_field > 12 && d.chance(v.missing / 1000);
    }
    const double picture = static_cast<double>(bars[n]) - static_cast<double>(black[n]);
    const double burst = static_cast<double>(black[n]) - static_cast<double>(sync[n]);
    const double step =
        full.empty() ? 0.0 : 1e-3 * step_mv / white_v * static_cast<double>(full[n] - black[n]);
    out[n] = static_cast<float>(step + (without ? 0.0 : sync_gain * static_cast<double>(sync[n])) +
                                burst_gain * burst + white_gain * bent(picture, white_v, v.nonlinearity));
  }
  return out;
}

// 312 or 262 whole lines a field: the frame's first field and the lines that lead into it.
Wave without_interlace(const Wave& x, double samples_a_line, int lines_per_frame) {
  const int kept = lines_per_frame / 2 - 4;
  Wave out;
  out.reserve(x.size());
  const auto take = [&](double frame, double from, double to) {
    const auto a = static_cast<std::size_t>(std::llround((frame + from) * samples_a_line));
    const auto b = std::min(x.size(), static_cast<std::size_t>(std::llround((frame + to) * samples_a_line)));
    if (a < b)
      out.insert(out.end(), x.begin() + static_cast<std::ptrdiff_t>(a),
                 x.begin() + static_cast<std::ptrdiff_t>(b));
  };
  for (double frame = 0; (frame + lines_per_frame) * samples_a_line <= static_cast<double>(x.size());
       frame += lines_per_frame) {
    take(frame, 0, kept);
    take(frame, lines_per_frame - 4, lines_per_frame);
  }
  return out;
}

// Loss and delay that grow with the square root of frequency, and one echo, as one long convolution in
// blocks.
void through_cable(Wave& x, double rate, double loss_db_5mhz, double echo, double echo_s) {
  constexpr std::size_t size = 4096;
  constexpr std::size_t reach = 1024;
  constexpr std::size_t ahead = 256;  // a delay between two samples rings before its time as well
  dsp::RealFft fft(size);
  std::vector<std::complex<double>> h(size / 2 + 1);
  const double nepers = loss_db_5mhz / 8.686;
  for (std::size_t k = 0; k < h.size(); ++k) {
    const double f = static_cast<double>(k) * rate / size;
    const double a = nepers * std::sqrt(f / 5e6);
    // The level that the ends leave is in the path's gain; an echo must not change it.
    h[k] = std::exp(std::complex<double>(-a, -a)) * (1.0 + echo * std::polar(1.0, -two_pi * f * echo_s)) /
           (1.0 + echo);
  }
  Wave out(x.size());
  for (std::size_t from = 0; from < x.size(); from += size - reach - ahead) {
    auto in = fft.input();
    for (std::size_t k = 0; k < size; ++k) {
      const auto at = static_cast<std::ptrdiff_t>(from + k) - static_cast<std::ptrdiff_t>(reach);
      in[k] = at >= 0 && at < static_cast<std::ptrdiff_t>(x.size())
                  ? static_cast<double>(x[static_cast<std::size_t>(at)])
                  : 0.0;
    }
    fft.forward();
    auto spectrum = fft.output();
    for (std::size_t k = 0; k < h.size(); ++k) spectrum[k] *= h[k] / static_cast<double>(size);
    fft.inverse();
    for (std::size_t k = reach; k < size - ahead && from + k - reach < x.size(); ++k)
      out[from + k - reach] = static_cast<float>(fft.input()[k]);
  }
  x = std::move(out);
}

// Every line a little early or late: a windowed sinc at that line's place.
void shake(Wave& x, double rate, double samples_a_line, double jitter_ns, Dice& d) {
  if (jitter_ns < 0.3) return;
  constexpr int reach = 12;
  constexpr double pi = std::numbers::pi;
  Wave out(x.size());
  const auto count = static_cast<std::ptrdiff_t>(x.size());
  std::int64_t line = -1;
  std::array<double, 2 * reach> tap{};
  std::ptrdiff_t whole = 0;
  for (std::ptrdiff_t n = 0; n < count; ++n) {
    const auto at = static_cast<std::int64_t>((static_cast<double>(n) + 1e-6 * rate) / samples_a_line);
    if (at != line) {
      line = at;
      const double shift = d.normal(0, jitter_ns) * 1e-9 * rate;
      whole = static_cast<std::ptrdiff_t>(std::floor(shift));
      const double part = shift - static_cast<double>(whole);
      for (int k = 0; k < 2 * reach; ++k) {
        const double t = k - (reach - 1) - part;
        const double sinc = std::abs(t) < 1e-9 ? 1 : std::sin(pi * t) / (pi * t);
        tap[static_cast<std::size_t>(k)] =
            sinc * std::pow(std::cos(0.5 * pi * std::min(1.0, std::abs(t) / (reach + 0.5))), 2);
      }
    }
    double sum = 0;
    for (int k = 0; k < 2 * reach; ++k) {
      const std::ptrdiff_t from = std::clamp<std::ptrdiff_t>(n + whole + k - (reach - 1), 0, count - 1);
      sum += tap[static_cast<std::size_t>(k)] * static_cast<double>(x[static_cast<std::size_t>(from)]);
    }
    out[static_cast<std::size_t>(n)] = static_cast<float>(sum);
  }
  x = std::move(out);
}

void disturb(Wave& x, const Installation& s, double rate, double noise_v, double tone_v, Dice& d) {
  const VideoPath& v = s.video;
  const double gain = amplitude_from_db(v.gain_db) * (v.inverted ? -1 : 1);
  std::vector<std::pair<double, double>> comb;  // peak volts and turn of each multiple
  for (int n = 1; n <= harmonics; ++n)
    comb.emplace_back(std::numbers::sqrt2 * v.hum_mv[static_cast<std::size_t>(n)] / 1000, d.uniform(0, 1));
  // One mains period of hum, read along.
  constexpr std::size_t table_size = 4096;
  std::vector<double> table(table_size + 1);
  for (std::size_t k = 0; k <= table_size; ++k) {
    for (std::size_t n = 0; n < comb.size(); ++n)
      table[k] +=
          comb[n].first * std::sin(two_pi * (static_cast<double>((n + 1) * k) / table_size + comb[n].second));
  }
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double place = std::fmod(t * s.mains_hz, 1.0) * table_size;
    const auto i = static_cast<std::size_t>(place);
    const double hum = table[i] + (place - static_cast<double>(i)) * (table[i + 1] - table[i]);
    const double tone = tone_v > 0 ? 0.5 * tone_v * std::sin(two_pi * std::fmod(v.tone_hz * t, 1.0)) : 0.0;
    x[n] = static_cast<float>(gain * (static_cast<double>(x[n]) + hum + tone) + noise_v * d.quick_normal());
  }
}

// Spikes that rise at once and die away in some microseconds: of a dimmer twice in each mains period, of a
// bad contact at any time.
void sparkle(Wave& x, const Installation& s, double rate, Dice& d) {
  const VideoPath& v = s.video;
  if (!(v.impulses > 0)) return;
  const double dies_s = d.uniform(1e-6, 4e-6);
  const double height_v = d.uniform(0.06, 0.2);
  const double length_s = static_cast<double>(x.size()) / rate;
  const double cut_s = d.uniform(0, 0.5 / s.mains_hz);
  int n = 0;
  for (double t = v.impulses_by_mains ? cut_s : 0;; ++n) {
    t += v.impulses_by_mains ? (n == 0 ? 0 : 0.5 / s.mains_hz) : -std::log(d.uniform(1e-9, 1)) / v.impulses;
    if (t >= length_s) return;
    const double sign = (v.impulses_by_mains ? n % 2 == 0 : d.chance(0.5)) ? 1 : -1;
    const auto from = static_cast<std::size_t>(t * rate);
    for (std::size_t k = from; k < x.size() && static_cast<double>(k - from) < 6 * dies_s * rate; ++k)
      x[k] +=
          static_cast<float>(sign * height_v * std::exp(-static_cast<double>(k - from) / (dies_s * rate)));
  }
}

Wave nothing(std::size_t count, double noise_v, Dice& d) {
  Wave x(count);
  for (float& v : x) v = static_cast<float>(noise_v * d.quick_normal());
  return x;
}

CompositeTake record(const Installation& s, std::uint64_t seed, double rate, double seconds, bool whole_band,
                     bool staircase) {
  Dice d(seed + 303);
  const VideoPath& v = s.video;
  const auto count = static_cast<std::size_t>(seconds * rate);
  CompositeTake take;
  take.rate_hz = rate;
  if (!v.present) {
    take.volts = nothing(count, 2e-3, d);
    return take;
  }
  const double samples_a_line = rate / (standard_of(s).line_rate_hz.value() * pace(s));
  const std::size_t made = v.interlaced ? count : 2 * count;
  Wave x = source(s, rate, made, whole_band && v.colour, staircase, d);
  if (!v.interlaced) x = without_interlace(x, samples_a_line, standard_of(s).lines_per_frame);
  x.resize(std::min(x.size(), count));
  if (whole_band) {
    through_cable(x, rate, v.loss_db, v.echo, v.echo_s);
    shake(x, rate, samples_a_line, v.jitter_ns, d);
  }
  // Noise is given in 5 MHz.
  disturb(x, s, rate, v.noise_mv / 1000 * std::sqrt(std::max(rate / 2, 5e6 * (whole_band ? 1 : 0)) / 5e6),
          whole_band ? v.tone_mv / 1000 : 0, d);
  if (whole_band) sparkle(x, s, rate, d);
  take.volts = std::move(x);
  return take;
}

}  // namespace

CompositeTake record_waveform(const Installation& s, std::uint64_t seed, double seconds, bool staircase) {
  // Four times subcarrier: a digitiser's usual choice.
  return record(s, seed, 4 * standard_of(s).subcarrier_hz.value(), seconds, true, staircase);
}

CompositeTake record_lowband(const Installation& s, std::uint64_t seed, double seconds) {
  CompositeTake take = record(s, seed, 96000, seconds, false, false);
  // The card's coupling capacitor.
  const double keep = std::exp(-two_pi * 1.5 / take.rate_hz);
  double slow = 0;
  for (float& v : take.volts) {
    slow = keep * slow + (1 - keep) * static_cast<double>(v);
    v = static_cast<float>(static_cast<double>(v) - slow);
  }
  return take;
}

}  // namespace linebench::faultsim
