// Clicks. A cheap look at the second difference says which blocks are worth a linear prediction; there the
// prediction error (which has tones and voices largely taken out) must show one short, lonely peak.
#include <algorithm>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/dsp/vectorised.hpp>

#include "events_parts.hpp"

namespace linebench::measure {
namespace {

constexpr double block_s = 0.005;
constexpr double around_s = 0.02;
constexpr double own_s = 0.0015;      // a click may ring this long either side of its peak
constexpr float worth_a_look = 6.0F;  // largest over mean second difference of the quieter surroundings
constexpr double over_scale = 8.0;    // over the error's robust standard deviation
constexpr double over_others = 3.0;   // over any other peak near it
constexpr double smallest = 1e-4;     // of full scale
constexpr double onset_ratio =
    2.0;  // rms after over before (or reverse) that makes it a start or an end of sound
constexpr double click_over_sound = 6.0;
constexpr std::size_t order = 12;

double rms(std::span<const float> x) {
  double sum = 0.0;
  for (const float v : x) sum += static_cast<double>(v) * static_cast<double>(v);
  return x.empty() ? 0.0 : std::sqrt(sum / static_cast<double>(x.size()));
}

// Coefficients a[1..order] of the predictor x[n] ~ -sum a[k] x[n-k] (autocorrelation method, Levinson and
// Durbin).
std::array<double, order + 1> predictor(std::span<const float> x) {
  std::array<double, order + 1> r{};
  for (std::size_t lag = 0; lag <= order; ++lag) {
    std::array<float, 8> sum{};
    std::size_t i = lag;
    for (; i + 8 <= x.size(); i += 8) {
      for (std::size_t l = 0; l < 8; ++l) sum[l] += x[i + l] * x[i + l - lag];
    }
    for (; i < x.size(); ++i) sum[0] += x[i] * x[i - lag];
    for (const float s : sum) r[lag] += static_cast<double>(s);
  }
  std::array<double, order + 1> a{};
  a[0] = 1.0;
  double error = r[0] * (1.0 + 1e-7) + 1e-20;
  for (std::size_t i = 1; i <= order; ++i) {
    double acc = r[i];
    for (std::size_t k = 1; k < i; ++k) acc += a[k] * r[i - k];
    const double reflection = -acc / error;
    const std::array<double, order + 1> old = a;
    for (std::size_t k = 1; k < i; ++k) a[k] = old[k] + reflection * old[i - k];
    a[i] = reflection;
    error *= 1.0 - reflection * reflection;
    if (error <= 0.0) break;
  }
  return a;
}

// A steady tone of any frequency obeys x[n+d] + x[n-d] = c x[n] with c = 2 cos(w d). What c the best fit has,
// and what a given c leaves over, both re the tone.
struct OneTone {
  double c = 0;
  double level = 0;
};

OneTone tone_of(std::span<const float> x, std::size_t d) {
  double top = 0;
  double power = 0;
  for (std::size_t n = d; n + d < x.size(); ++n) {
    const auto v = static_cast<double>(x[n]);
    top += v * (static_cast<double>(x[n + d]) + static_cast<double>(x[n - d]));
    power += v * v;
  }
  return {power > 0 ? top / power : 0, std::sqrt(power)};
}

double left_over(std::span<const float> x, std::size_t d, double c, double level) {
  double sum = 0;
  for (std::size_t n = d; n + d < x.size(); ++n) {
    const double e =
        static_cast<double>(x[n + d]) + static_cast<double>(x[n - d]) - c * static_cast<double>(x[n]);
    sum += e * e;
  }
  return level > 0 ? std::sqrt(sum) / level : 0;
}

// One tone ends and another begins, as a ringer's two do in turn: the step between them is the sound's own.
bool tone_changes(std::span<const float> before, std::span<const float> after, double rate_hz) {
  constexpr double lag_s = 1.0 / 6000;
  constexpr double steady = 0.1;  // left over of a steady tone in its noise
  constexpr double other = 3;     // times that, of another tone
  const auto d = std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(lag_s * rate_hz)));
  if (before.size() < 6 * d || after.size() < 6 * d) return false;
  const OneTone b = tone_of(before, d);
  const OneTone a = tone_of(after, d);
  const double own_b = left_over(before, d, b.c, b.level);
  const double own_a = left_over(after, d, a.c, a.level);
  if (own_b > steady || own_a > steady) return false;
  return std::abs(b.c - a.c) > std::max(steady, other * std::max(own_b, own_a));
}

}  // namespace

LINEBENCH_VECTORISED void ClickSearch::search(const EventView& v) {
  const auto block = std::max<std::size_t>(32, static_cast<std::size_t>(block_s * v.rate_hz));
  if (v.x.size() < 3) return;
  // Blocks of the whole view, so that each has neighbours.
  const std::size_t lead = v.from % block;
  const std::size_t blocks = (v.x.size() - lead) / block;
  means_.assign(blocks, 0.0F);
  tops_.assign(blocks, 0.0F);
  for (std::size_t b = 0; b < blocks; ++b) {
    const std::size_t at = std::max<std::size_t>(lead + b * block, 2);
    const std::size_t end = lead + (b + 1) * block;
    constexpr std::size_t lanes = 8;
    std::array<float, lanes> sum{};
    std::array<float, lanes> top{};
    std::size_t i = at;
    for (; i + lanes <= end; i += lanes) {
      const float* x = v.x.data() + i;
      for (std::size_t l = 0; l < lanes; ++l) {
        const float d = std::abs(x[l] - 2.0F * x[static_cast<std::ptrdiff_t>(l) - 1] +
                                 x[static_cast<std::ptrdiff_t>(l) - 2]);
        sum[l] += d;
        top[l] = d > top[l] ? d : top[l];
      }
    }
    for (std::size_t l = 0; l < lanes; ++l) {
      means_[b] += sum[l] / static_cast<float>(end - at);
      tops_[b] = std::max(tops_[b], top[l]);
    }
  }
  for (std::size_t b = 0; b < blocks; ++b) {
    const std::size_t at = lead + b * block;
    if (at + block <= v.from || at >= v.to) continue;
    float quiet = means_[b];
    if (b > 0) quiet = std::min(quiet, means_[b - 1]);
    if (b + 1 < blocks) quiet = std::min(quiet, means_[b + 1]);
    if (tops_[b] > static_cast<float>(smallest) && tops_[b] > worth_a_look * quiet) {
      examine(v, std::max(at, v.from), std::min(at + block, v.to));
    }
  }
}

void ClickSearch::examine(const EventView& v, std::size_t from, std::size_t to) {
  const auto reach = static_cast<std::size_t>(around_s * v.rate_hz);
  const auto own = static_cast<std::size_t>(own_s * v.rate_hz) + 1;
  const std::size_t a = from > reach ? from - reach : 0;
  const std::size_t b = std::min(to + reach, v.x.size());
  if (b - a < 4 * order) return;
  const auto window = v.x.subspan(a, b - a);
  const auto c = predictor(window);
  error_.assign(window.size(), 0.0);
  const auto look = [&](std::size_t i) {
    if (i < order) return 0.0;
    double e = static_cast<double>(window[i]);
    for (std::size_t k = 1; k <= order; ++k) e += c[k] * static_cast<double>(window[i - k]);
    return error_[i] = std::abs(e);
  };
  std::size_t p = from - a;
  double height = 0.0;
  for (std::size_t i = from - a; i < to - a; ++i) {
    if (look(i) > height) {
      height = error_[i];
      p = i;
    }
  }
  if (height < smallest) return;
  // Outwards from the block: a voice's next pulse is near, and ends the search before most of it is done.
  const auto rival = [&](std::size_t i, double error) {
    const bool near = i + own >= p && i <= p + own;
    return !near && error * over_others > height;
  };
  for (std::size_t i = from - a; i < to - a; ++i) {
    if (rival(i, error_[i])) return;
  }
  for (std::size_t i = to - a; i < window.size(); ++i) {
    if (rival(i, look(i))) return;
  }
  for (std::size_t i = from - a; i-- > 0;) {
    if (rival(i, look(i))) return;
  }
  sorted_ = error_;
  if (height < over_scale * dsp::quantile(sorted_, 0.5) / 0.6745) return;
  // A lasting change of level is the start or the end of a sound.
  const auto gap = static_cast<std::size_t>(0.002 * v.rate_hz);
  const auto span = static_cast<std::size_t>(0.01 * v.rate_hz);
  const std::size_t at = a + p;
  const std::size_t before_end = at > gap ? at - gap : 0;
  const std::size_t before_start = before_end > span ? before_end - span : 0;
  const std::size_t after_start = std::min(at + gap, v.x.size());
  const std::size_t after_end = std::min(after_start + span, v.x.size());
  const auto sound_before = v.x.subspan(before_start, before_end - before_start);
  const auto sound_after = v.x.subspan(after_start, after_end - after_start);
  if (tone_changes(sound_before, sound_after, v.rate_hz)) return;
  const double before = rms(sound_before);
  const double after = rms(sound_after);
  const double louder = std::max(before, after);
  const double softer = std::min(before, after);
  if (louder > onset_ratio * softer && height < click_over_sound * louder) return;
  const std::uint64_t index = v.first + at;
  if (any_ && index - last_ < 2 * own) return;
  any_ = true;
  last_ = index;
  ++count_;
  keep_event(times_, {v.time_s(at), height});
}

void ClickSearch::forget_near(double time_s) {
  const auto before = times_.size();
  std::erase_if(times_, [&](const Event& e) { return std::abs(e.time_s - time_s) < 0.003; });
  count_ -= before - times_.size();
}

void ClickSearch::finish(EventsResult& r) const {
  r.clicks = count_;
  r.click_times = times_;
}

}  // namespace linebench::measure
