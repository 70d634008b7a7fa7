// Signals that are a sum of steady sines: one, two, or many.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <numbers>

#include "audio_kinds.hpp"
#include "oscillators.hpp"
#include "plans.hpp"

namespace linebench::signals {
namespace {

class TonesGenerator : public Generator {
 public:
  /// `peak`: the sum's largest value, 0 for the sum of the amplitudes.
  TonesGenerator(std::vector<Oscillator> bank, double rate_hz, double seconds, double peak = 0)
      : bank_(std::move(bank)), rate_hz_(rate_hz) {
    frames_ = frames_of(seconds, rate_hz);
    double sum = 0;
    for (const Oscillator& o : bank_) sum += o.amplitude;
    peak_ = peak > 0 ? peak : sum;
  }
  void next(std::span<double> left, std::span<double>) override {
    std::ranges::fill(left, 0.0);
    add_oscillators(bank_, rate_hz_, at_, left);
    at_ += left.size();
  }

 private:
  std::vector<Oscillator> bank_;
  double rate_hz_;
  std::uint64_t at_ = 0;
};

std::unique_ptr<Generator> make_sine(const Recipe& recipe, const GeneratorOptions& options) {
  const double hz = recipe.number("frequency_hz");
  require_below_nyquist(recipe, hz, options.rate_hz);
  return std::make_unique<TonesGenerator>(std::vector<Oscillator>{{hz}}, options.rate_hz,
                                          seconds_of(recipe, options));
}

std::unique_ptr<Generator> make_two_tone(const Recipe& recipe, const GeneratorOptions& options) {
  const double first = recipe.number("first_hz");
  const double second = recipe.number("second_hz");
  require_below_nyquist(recipe, std::max(first, second), options.rate_hz);
  const double ratio = amplitude_from_db(recipe.number("ratio_db"));
  const double a2 = 1 / std::hypot(ratio, 1.0);  // the powers add up to that of one full-scale sine
  return std::make_unique<TonesGenerator>(std::vector<Oscillator>{{first, ratio * a2}, {second, a2}},
                                          options.rate_hz, seconds_of(recipe, options));
}

/// Whole multiples of 1/period nearest to the wanted frequencies. With `apart`, only odd ones of which none
/// is a multiple of another, so that no tone's harmonics, and no difference of two tones, fall on a tone.
std::vector<long> choose_bins(const Recipe& recipe, const std::vector<double>& wanted, double period_s,
                              bool apart) {
  std::vector<long> bins;
  const auto free = [&](long k) {
    if (k < 1 || std::ranges::find(bins, k) != bins.end()) return false;
    return !apart ||
           (k % 2 == 1 && std::ranges::none_of(bins, [k](long b) { return k % b == 0 || b % k == 0; }));
  };
  for (const double hz : wanted) {
    const long middle = std::lround(hz * period_s);
    const long reach = 3 + middle / 10;
    long found = 0;
    for (long d = 0; d <= reach && found == 0; ++d) {
      if (free(middle - d)) {
        found = middle - d;
      } else if (free(middle + d)) {
        found = middle + d;
      }
    }
    if (found == 0) {
      throw unusable(fmt::format(
          "recipe {}: no room for a tone near {:g} Hz; use fewer tones or a longer period_seconds",
          recipe.path.string(), hz));
    }
    bins.push_back(found);
  }
  std::ranges::sort(bins);
  return bins;
}

std::vector<Oscillator> multitone_bank(const Recipe& recipe) {
  const std::vector<double> hz = plan_tones(recipe);
  const auto n = static_cast<double>(hz.size());
  std::vector<double> phases;
  if (recipe.has("phases_deg")) phases = recipe.numbers("phases_deg");
  if (!phases.empty() && phases.size() != hz.size()) {
    throw unusable(fmt::format("recipe {}: {} phases_deg for {} tones; give one each, or none",
                               recipe.path.string(), phases.size(), hz.size()));
  }
  std::vector<Oscillator> bank;
  for (std::size_t i = 0; i < hz.size(); ++i) {
    const auto k = static_cast<double>(i);
    // Newman's phases, pi k^2 / n of cosines [Boyd 1986].
    const double degrees = phases.empty() ? 180 * k * k / n : phases[i];
    bank.push_back({hz[i], 1 / std::sqrt(n), degrees / 360 + 0.25});
  }
  return bank;
}

/// The largest value of the periodic sum, from one period at a rate fine enough that the true peak between
/// two points is at most 0.2 dB more; that is added.
double peak_of(const std::vector<Oscillator>& bank, double period_s) {
  double highest = 0;
  for (const Oscillator& o : bank) highest = std::max(highest, o.hz);
  const double rate = 16 * highest;  // cos(pi/16): 0.17 dB
  std::vector<double> block(4096);
  const std::uint64_t total = frames_of(period_s, rate);
  double peak = 0;
  for (std::uint64_t at = 0; at < total; at += block.size()) {
    std::ranges::fill(block, 0.0);
    add_oscillators(bank, rate, at, block);
    for (const double v : block) peak = std::max(peak, std::abs(v));
  }
  return peak * amplitude_from_db(0.2);
}

std::unique_ptr<Generator> make_multitone(const Recipe& recipe, const GeneratorOptions& options) {
  auto bank = multitone_bank(recipe);
  require_below_nyquist(recipe, bank.back().hz, options.rate_hz);
  const double peak = peak_of(bank, recipe.number("period_seconds"));
  return std::make_unique<TonesGenerator>(std::move(bank), options.rate_hz, seconds_of(recipe, options),
                                          peak);
}

}  // namespace

std::vector<double> plan_tones(const Recipe& recipe) {
  if (recipe.kind->name == "two-tone") {
    const auto [low, high] = std::minmax({recipe.number("first_hz"), recipe.number("second_hz")});
    return {low, high};
  }
  const double low = recipe.number("lowest_hz");
  const double high = recipe.number("highest_hz");
  const auto n = static_cast<std::size_t>(recipe.number("tones"));
  const bool logarithmic = recipe.text("spacing") == "logarithmic";
  if (!(low < high))
    throw unusable(fmt::format("recipe {}: lowest_hz must be below highest_hz", recipe.path.string()));
  std::vector<double> wanted;
  for (std::size_t i = 0; i < n; ++i) {
    const double x = static_cast<double>(i) / static_cast<double>(n - 1);
    wanted.push_back(logarithmic ? low * std::pow(high / low, x) : low + (high - low) * x);
  }
  const double period = recipe.number("period_seconds");
  std::vector<double> hz;
  for (const long k : choose_bins(recipe, wanted, period, recipe.flag("avoid_harmonics"))) {
    hz.push_back(static_cast<double>(k) / period);
  }
  return hz;
}

AudioKind sine_kind() {
  return {{"sine",
           Medium::Audio,
           "one steady tone",
           {frequency_parameter("frequency_hz", "frequency"), seconds_parameter(20)}},
          make_sine};
}

AudioKind two_tone_kind() {
  return {{"two-tone",
           Medium::Audio,
           "two steady tones at once, to show what a path makes of their mixing",
           {frequency_parameter("first_hz", "first tone"), frequency_parameter("second_hz", "second tone"),
            number_parameter("ratio_db", "dB", "level of the first tone over the second", -60, 60),
            seconds_parameter(20)}},
          make_two_tone};
}

AudioKind multitone_kind() {
  ParameterSpec spacing{"spacing", "", "how the tones are spread", std::string()};
  spacing.fallback = std::string("logarithmic");
  spacing.allowed = {"logarithmic", "linear"};
  ParameterSpec phases{"phases_deg", "deg",
                       "phase of each tone as a cosine, lowest first; Newman's where left out",
                       std::vector<double>()};
  phases.optional = true;
  phases.min = -360;
  phases.max = 360;
  return {
      {"multitone",
       Medium::Audio,
       "many steady tones of one level at once, with phases that keep the peaks low",
       {frequency_parameter("lowest_hz", "lowest tone"), frequency_parameter("highest_hz", "highest tone"),
        whole_parameter("tones", "number of tones", 2, 200),
        number_parameter("period_seconds", "s",
                         "time after which it repeats; tones are multiples of its inverse", 0.01, 10, 1.0),
        spacing, flag_parameter("avoid_harmonics", "whether tones keep off each other's harmonics", true),
        phases, seconds_parameter(20)}},
      make_multitone};
}

}  // namespace linebench::signals
