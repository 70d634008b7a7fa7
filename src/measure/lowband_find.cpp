#include "lowband_find.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/complex_product.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/window.hpp>
#include <numbers>
#include <vector>

#include "lowband_shape.hpp"

namespace linebench::measure {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double lowest_line_hz = 15'390;      // 625 lines less 1.5 %
constexpr double highest_line_hz = 15'970;     // 525 lines plus 1.5 %
constexpr double shortest_field_halves = 500;  // 45 to 65 fields a second
constexpr double longest_field_halves = 690;

// Running sums, so that a mean over any stretch costs two look-ups.
template <typename T>
class Sums {
 public:
  explicit Sums(std::size_t n) { sum_.reserve(n + 1), sum_.push_back(T{}); }
  void add(T v) { sum_.push_back(sum_.back() + v); }
  /// Integral up to position p (samples).
  [[nodiscard]] T upto(double p) const {
    const double c = std::clamp(p, 0.0, static_cast<double>(sum_.size() - 1));
    const auto i = std::min(static_cast<std::size_t>(c), sum_.size() - 2);
    return sum_[i] + (sum_[i + 1] - sum_[i]) * (c - static_cast<double>(i));
  }

 private:
  std::vector<T> sum_;
};

// One value each half line: the mean over the line that begins there, and the line-rate tone in it.
struct HalfLines {
  std::vector<double> mean;
  std::vector<double> tone;
};

HalfLines half_lines(std::span<const float> x, double rate_hz, double line_hz) {
  Sums<double> level(x.size());
  Sums<std::complex<double>> tone(x.size());
  const std::complex<double> turn = std::polar(1.0, -2 * pi * line_hz / rate_hz);
  std::complex<double> phasor = 1;
  for (std::size_t n = 0; n < x.size(); ++n) {
    level.add(static_cast<double>(x[n]));
    tone.add(static_cast<double>(x[n]) * phasor);
    phasor = dsp::product(phasor, turn);
    if (n % 4096 == 0) phasor /= std::abs(phasor);
  }
  const double line = rate_hz / line_hz;
  HalfLines h;
  for (double p = 0; p + line < static_cast<double>(x.size()); p += line / 2) {
    h.mean.push_back((level.upto(p + line) - level.upto(p)) / line);
    h.tone.push_back(std::abs(tone.upto(p + line) - tone.upto(p)) / line);
  }
  return h;
}

// The values without the strongest sines of 45 to 65 Hz. Hum larger than the signal tilts the lines around
// vertical sync more than the shape below allows; what the picture has at that rate is as smooth and not
// missed.
std::vector<double> without_hum(const std::vector<double>& v) {
  constexpr std::size_t block = 16;
  constexpr int sines = 2;  // hum, and the picture's own shading that beats with it
  const std::size_t n = v.size() / block;
  double level = 0;
  for (const double y : v) level += y / static_cast<double>(v.size());
  std::vector<double> slow(n, 0.0);
  for (std::size_t i = 0; i < n * block; ++i) slow[i / block] += (v[i] - level) / block;
  // Amplitude and phase at f cycles a half line; the phase is that of the first half line's begin.
  const auto at = [&](double f) {
    std::complex<double> sum = 0;
    const std::complex<double> turn = std::polar(1.0, -2 * pi * f * block);
    std::complex<double> phasor = std::polar(2 / static_cast<double>(n), -pi * f * (block - 1));
    for (const double y : slow) sum += y * phasor, phasor = dsp::product(phasor, turn);
    return sum;
  };
  std::vector<double> out(v);
  for (int sine = 0; sine < sines; ++sine) {
    double best = 0.5 / shortest_field_halves + 0.5 / longest_field_halves;
    double reach = 0.5 / shortest_field_halves - 0.5 / longest_field_halves;
    double step = 0.25 / static_cast<double>(v.size());
    for (int pass = 0; pass < 3; ++pass, reach = step, step /= 8) {
      double most = 0;
      const double middle = best;
      for (double f = middle - reach; f <= middle + reach; f += step) {
        if (const double a = std::abs(at(f)); a > most) most = a, best = f;
      }
    }
    const std::complex<double> hum = at(best);
    const auto value = [&](double i) { return (hum * std::polar(1.0, 2 * pi * best * i)).real(); };
    for (std::size_t i = 0; i < out.size(); ++i) out[i] -= value(static_cast<double>(i));
    for (std::size_t i = 0; i < n; ++i) slow[i] -= value(static_cast<double>(i * block) + 0.5 * (block - 1));
  }
  return out;
}

// How much values at m look like vertical sync: level before and after, lower for the broad pulses' 2.5 or 3
// lines, each of the three flat. Offsets in half lines of one-line means that lie wholly inside, in both
// systems.
double likeness(const std::vector<double>& v, std::size_t m, double sign) {
  const auto at = [&](int k) { return sign * v[m + static_cast<std::size_t>(k + 4)]; };
  const double before = (at(-4) + at(-3) + at(-2)) / 3;
  const double dip = (at(0) + at(1) + at(2) + at(3)) / 4;
  const double after = (at(7) + at(8)) / 2;
  const double depth = (before + after) / 2 - dip;
  if (!(depth > 0)) return 0;
  double uneven = std::abs(before - after);
  uneven = std::max(uneven, std::max({at(0), at(1), at(2), at(3)}) - std::min({at(0), at(1), at(2), at(3)}));
  uneven = std::max(uneven, std::max({at(-4), at(-3), at(-2)}) - std::min({at(-4), at(-3), at(-2)}));
  return depth * std::max(0.0, 1 - uneven / depth);
}

constexpr std::size_t shape_before = 4;
constexpr std::size_t shape_span = 13;  // -4 .. 8

struct Place {
  double score = 0;
  double phase = 0;  // half lines, of the first broad pulse
};
struct Fold {
  double period = 0;
  std::vector<Place> places{};  // where vertical sync may be, likeliest first
};

// Where w repeats: the lag with the most of it in common, refined over more and more periods.
double period_of(const std::vector<double>& w) {
  const auto n = w.size();
  std::vector<std::size_t> alive;  // few half lines look like vertical sync at all
  for (std::size_t i = 0; i < n; ++i) {
    if (w[i] > 0) alive.push_back(i);
  }
  const auto alike = [&](double lag) {
    const auto whole = static_cast<std::size_t>(lag);
    const double part = lag - static_cast<double>(whole);
    double sum = 0;
    for (const std::size_t i : alive) {
      if (i + whole + 1 >= n) break;
      sum += w[i] * ((1 - part) * w[i + whole] + part * w[i + whole + 1]);
    }
    return sum / static_cast<double>(n - whole);
  };
  double best = 0;
  double most = 0;
  for (double lag = shortest_field_halves; lag <= longest_field_halves; lag += 1) {
    const double a = alike(lag);
    if (a > most) {
      most = a;
      best = lag;
    }
  }
  if (best <= 0) return 0;
  for (int times = 2; static_cast<double>(times) * best < 0.6 * static_cast<double>(n); times *= 2) {
    double top = -1;
    double at = best * times;
    for (double lag = best * times - 1.5; lag <= best * times + 1.5; lag += 0.25) {
      const double a = alike(lag);
      if (a > top) {
        top = a;
        at = lag;
      }
    }
    best = at / times;
  }
  return best;
}

// All fields on top of one another.
Fold fold(const HalfLines& h, double sign) {
  Fold out;
  const std::vector<double>& v = h.mean;
  std::vector<double> w(v.size() - shape_span, 0.0);
  for (std::size_t m = 0; m < w.size(); ++m) w[m] = likeness(v, m, sign);
  out.period = period_of(w);
  if (!(out.period > 0)) return out;
  const auto bins = static_cast<std::size_t>(std::lround(out.period));
  std::vector<double> mean(bins + shape_span, 0.0);
  std::vector<double> tone(bins + shape_span, 0.0);
  std::vector<double> count(bins + shape_span, 0.0);
  for (std::size_t m = 0; m < v.size(); ++m) {
    const double turns = static_cast<double>(m) / out.period;
    auto b = static_cast<std::size_t>((turns - std::floor(turns)) * static_cast<double>(bins));
    for (; b < mean.size(); b += bins) {  // the first ones again at the end, so that no shape is cut
      mean[b] += v[m];
      tone[b] += h.tone[m];
      count[b] += 1;
    }
  }
  for (std::size_t b = 0; b < mean.size(); ++b) {
    if (count[b] > 0) mean[b] /= count[b], tone[b] /= count[b];
  }
  const double usual =
      dsp::median(std::vector<double>{tone.begin(), tone.begin() + static_cast<std::ptrdiff_t>(bins)});
  for (std::size_t b = 0; b < bins; ++b) {
    // Pulses come at twice the line rate here, so the line-rate tone is gone; dark stripes of a picture keep
    // it. Only means over a line that lie wholly in one part count: a step within would look like a tone.
    double inside = 0;
    for (const std::size_t k : {0U, 1U, 2U, 4U, 5U, 6U, 7U, 11U, 12U}) inside += tone[b + k] / 9;
    const double gone = std::clamp(1 - inside / std::max(usual, 1e-12), 0.0, 1.0);
    const double score = likeness(mean, b, sign) * gone;
    if (score > 0)
      out.places.push_back(
          {score, static_cast<double>(b + shape_before) / static_cast<double>(bins) * out.period});
  }
  // One place for each dip, a few at most.
  std::sort(out.places.begin(), out.places.end(),
            [](const Place& a, const Place& b) { return a.score > b.score; });
  std::vector<Place> apart;
  for (const Place& p : out.places) {
    constexpr std::size_t most = 6;
    if (apart.size() == most || p.score < 0.1 * out.places.front().score) break;
    if (std::none_of(apart.begin(), apart.end(),
                     [&](const Place& q) { return std::abs(q.phase - p.phase) < 3; }))
      apart.push_back(p);
  }
  out.places = apart;
  return out;
}

// The standard's shape at a place, over the first fields: how badly it fits, and where exactly it stands.
struct Trial {
  double misfit = 1e9;  // re sync
  double sync = 0;
  double first_s = 0;
};

Trial try_place(const LowbandWindow& w, const VerticalShape& shape, double period_s, double about_s) {
  constexpr double step_s = 12e-6;
  constexpr int most_fields = 12;
  std::vector<double> sum(shape.points());
  std::vector<double> one(shape.points());
  Trial best;
  for (int shift = -3; shift <= 3; ++shift) {
    std::fill(sum.begin(), sum.end(), 0.0);
    int fields = 0;
    double first = -1;
    for (double t = about_s + shift * step_s; fields < most_fields; t += period_s) {
      if (t < 0 || !w.covers(t + shape.from_s(), t + shape.to_s())) {
        if (fields > 0 || t > period_s * 4) break;
        continue;
      }
      if (first < 0) first = t;
      shape.sample(w, t, one);
      for (std::size_t i = 0; i < sum.size(); ++i) sum[i] += one[i];
      ++fields;
    }
    if (fields == 0) continue;
    for (double& v : sum) v /= fields;
    const VerticalFit f = shape.fit(sum);
    const double misfit = std::hypot(f.residual / std::abs(f.sync), f.shift_s / (4 * step_s));
    if (misfit < best.misfit) best = {misfit, f.sync, first + f.shift_s};
  }
  return best;
}

}  // namespace

LineTone find_line_tone(std::span<const float> x, double rate_hz) {
  LineTone out;
  const auto n = std::min(x.size(), dsp::next_fast_size(static_cast<std::size_t>(0.2 * rate_hz)));
  if (n < 4096 || highest_line_hz > 0.49 * rate_hz) return out;
  dsp::RealFft fft(n);
  const auto window = dsp::make_window(dsp::Window::Hann, n);
  std::vector<double> power(n / 2 + 1, 0.0);
  for (std::size_t at = 0; at + n <= x.size(); at += n / 2) {
    for (std::size_t i = 0; i < n; ++i) fft.input()[i] = window[i] * static_cast<double>(x[at + i]);
    fft.forward();
    for (std::size_t k = 0; k < power.size(); ++k) power[k] += std::norm(fft.output()[k]);
  }
  const double bin = rate_hz / static_cast<double>(n);
  const auto first = static_cast<std::size_t>(lowest_line_hz / bin);
  const auto last = std::min(power.size() - 2, static_cast<std::size_t>(highest_line_hz / bin));
  std::size_t top = first;
  for (std::size_t k = first; k <= last; ++k) {
    if (power[k] > power[top]) top = k;
  }
  // Between the lines that the field rate puts beside it, and over a wide stretch, a signal is quiet.
  const auto wide = static_cast<std::size_t>(600 / bin);
  const std::vector<double> round(
      power.begin() + static_cast<std::ptrdiff_t>(top > wide ? top - wide : 0),
      power.begin() + static_cast<std::ptrdiff_t>(std::min(power.size(), top + wide)));
  out.prominence = power[top] / std::max(dsp::median(round), 1e-30);
  const auto strongest = [&](double from_hz, double to_hz) {
    const auto from = static_cast<std::size_t>(std::clamp(from_hz / bin, 1.0, static_cast<double>(n / 2)));
    const auto to = static_cast<std::size_t>(std::clamp(to_hz / bin, 1.0, static_cast<double>(n / 2)));
    double most = 0;
    for (std::size_t k = from; k < to; ++k) most = std::max(most, power[k]);
    return most;
  };
  const double at = bin * static_cast<double>(top);
  out.over_others =
      power[top] / std::max({strongest(at - 2000, at - 400), strongest(at + 400, at + 2000), 1e-30});
  const double level = std::sqrt(dsp::median(round));
  const auto standing_out = [&](double p) { return std::max(0.0, std::sqrt(p) - 4 * level); };
  out.beside = std::max({standing_out(strongest(at - 70, at - 40)), standing_out(strongest(at + 40, at + 70)),
                         standing_out(strongest(2 * at - 2 * bin, 2 * at + 3 * bin))}) /
               std::max(std::sqrt(power[top]), 1e-30);
  const double a = std::sqrt(power[top - 1]);
  const double b = std::sqrt(power[top]);
  const double c = std::sqrt(power[top + 1]);
  // Of a Hann window's main lobe: the larger neighbour over the peak gives the place between them.
  const double ratio = std::max(a, c) / std::max(b, 1e-30);
  const double move = (2 * ratio - 1) / (1 + ratio) * (c >= a ? 1 : -1);
  out.hz = (static_cast<double>(top) + std::clamp(move, -0.5, 0.5)) * bin;
  return out;
}

FoundLowband find_lowband(std::span<const float> x, double rate_hz) {
  FoundLowband out;
  const auto [low, high] = std::minmax_element(x.begin(), x.end());
  if (x.empty() || *low == *high) {
    out.reason = "the samples do not move at all; look at the plug, the input that is chosen and its level";
    return out;
  }
  const LineTone tone = find_line_tone(x, rate_hz);
  if (tone.prominence < line_tone_least) {
    out.reason = "no line rate of 525 or 625 lines (15.4 to 16 kHz) stands out of the noise";
    return out;
  }
  out.line = true;
  out.line_hz = tone.hz;
  out.lines_alone = tone.over_others > over_others_least && tone.beside > beside_least;
  HalfLines h = half_lines(x, rate_hz, out.line_hz);
  if (h.mean.size() < 4 * static_cast<std::size_t>(longest_field_halves)) {
    out.reason = "fewer than four fields in the capture; take at least 0.2 s, better 5 s";
    return out;
  }
  h.mean = without_hum(h.mean);
  const Fold normal = fold(h, 1);
  const Fold inverted = fold(h, -1);
  // Against the line-rate tone: sync alone makes one of 0.14 of its height, the plateau stands 0.78 below.
  const double usual = dsp::median(h.tone);
  const LowbandWindow window{x, 0, rate_hz};
  Trial best;
  constexpr double most_misfit = 0.3;
  for (const Fold* f : {&normal, &inverted}) {
    if (!(f->period > 0)) continue;
    const VerticalShape shape(f->period < 575 ? standards::video_525 : standards::video_625);
    const double half_s = 0.5 / out.line_hz;
    for (const Place& p : f->places) {
      if (!(p.score > 0.3 * usual)) continue;
      const Trial t = try_place(window, shape, f->period * half_s, p.phase * half_s);
      if (t.misfit > most_misfit || t.misfit > best.misfit || (t.sync > 0) != (f == &normal)) continue;
      best = t;
      out.inverted = f == &inverted;
      out.halves_per_field = f->period;
    }
  }
  if (best.misfit > most_misfit) {
    if (out.lines_alone) {
      out.reason = "a line rate is there, but nothing like vertical sync repeats 45 to 65 times a second";
    } else if (tone.over_others > over_others_least) {
      out.reason = fmt::format(
          "a steady tone of {:.1f} Hz, without the field rate beside it and without its double: a whistle or "
          "a "
          "supply, or sync without picture that a faster card (96 kHz) would tell",
          tone.hz);
    } else {
      out.reason =
          "what lies at a line rate (15.4 to 16 kHz) is one of many alike, as of a buzz or a tone's "
          "multiples";
    }
    return out;
  }
  out.vertical = true;
  out.first_s = best.first_s;
  out.sync = std::abs(best.sync);
  return out;
}

}  // namespace linebench::measure
