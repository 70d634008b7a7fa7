// Tones against their closed form and the definition of dBFS [AES17]: a full-scale sine is 0 dBFS.
#include <cmath>
#include <linebench/base/error.hpp>
#include <numbers>

#include "support_signals.hpp"

namespace {

using namespace signal_tests;
using namespace linebench::signals;

double sine(double turns) { return std::sin(2 * std::numbers::pi * std::fmod(turns, 1.0)); }

TEST(Tones, SineIsItsClosedForm) {
  for (const double rate : {8000.0, 44100.0, 48000.0, 96000.0, 192000.0}) {
    const auto x = render(shipped_recipe("tone-997"), mono(rate));
    const auto n = x.size();
    ASSERT_EQ(n, static_cast<std::size_t>(20 * rate));
    double worst = 0;
    for (auto i = static_cast<std::size_t>(rate); i < n - static_cast<std::size_t>(rate); ++i) {
      const double want = std::pow(10, -30.0 / 20) * sine(997.0 * static_cast<double>(i) / rate);
      worst = std::max(worst, std::abs(want - static_cast<double>(x[i])));
    }
    EXPECT_LT(worst, 4e-9) << rate;  // half a step of a float at 0.03
  }
}

// [EBU R 68]: -18 dBFS; [SMPTE RP 155]: -20 dBFS; both 1 kHz here. Values from memory (common practice).
TEST(Tones, AlignmentLevels) {
  for (const auto& [name, level] : {std::pair{"alignment-r68", -18.0}, {"alignment-rp155", -20.0}}) {
    const auto x = render(shipped_recipe(name), mono());
    EXPECT_NEAR(dbfs(x, 48000, 96000), level, 0.001) << name;
    const auto [low, high] = std::minmax_element(x.begin(), x.end());
    EXPECT_NEAR(20 * std::log10(static_cast<double>(*high)), level, 0.001);
    EXPECT_NEAR(20 * std::log10(-static_cast<double>(*low)), level, 0.001);
  }
}

TEST(Tones, FullScaleIsAllowedAndMoreIsNot) {
  AudioSignalOptions o = mono();
  o.level_dbfs = 0;
  const auto x = render(shipped_recipe("tone-997"), o);
  EXPECT_NEAR(dbfs(x, 48000, 96000), 0, 0.001);
  EXPECT_LE(*std::max_element(x.begin(), x.end()), 1.0F);
  EXPECT_THROW((void)make_audio_signal(shipped_recipe("imd-60-7k"), o), linebench::Error);
  o.level_dbfs = -1.7;  // 20 lg(1.25 / sqrt(17)/4 ...): peaks of 4:1 reach 5/sqrt(17), 1.67 dB above a sine's
  EXPECT_NO_THROW((void)make_audio_signal(shipped_recipe("imd-60-7k"), o));
}

/// Amplitude of one frequency over a whole number of its cycles.
double amplitude(const std::vector<float>& x, std::size_t from, std::size_t count, double hz, double rate) {
  double re = 0;
  double im = 0;
  for (std::size_t i = 0; i < count; ++i) {
    const double turns = hz * static_cast<double>(from + i) / rate;
    re += static_cast<double>(x[from + i]) * sine(turns + 0.25);
    im += static_cast<double>(x[from + i]) * sine(turns);
  }
  return 2 * std::hypot(re, im) / static_cast<double>(count);
}

// [SMPTE RP 120] 4:1 is 12.04 dB; 1:1 is 0 dB. The level is the rms of both together.
TEST(Tones, IntermodulationRatios) {
  const auto smpte = render(shipped_recipe("imd-60-7k"), mono());
  EXPECT_NEAR(20 * std::log10(amplitude(smpte, 48000, 48000, 60, 48000) /
                              amplitude(smpte, 48000, 48000, 7000, 48000)),
              12.0412, 0.001);
  EXPECT_NEAR(dbfs(smpte, 48000, 96000), -30, 0.001);
  const auto twin = render(shipped_recipe("imd-19k-20k"), mono());
  EXPECT_NEAR(amplitude(twin, 48000, 48000, 19000, 48000) / amplitude(twin, 48000, 48000, 20000, 48000), 1,
              1e-5);
  EXPECT_NEAR(dbfs(twin, 48000, 96000), -30, 0.001);
}

// Exact midbands 1000 * 10^(n/10) [IEC 61260-1]; the plan says when each is steady and at its level.
TEST(Tones, StepsSoundAtTheirTimesAndLevel) {
  for (const double rate : {44100.0, 48000.0}) {
    AudioSignalOptions o = mono(rate);
    const Recipe r = shipped_recipe("steps-wide");
    const auto x = render(r, o);
    const auto steps = tone_steps(r, o);
    ASSERT_EQ(steps.size(), 31U);
    for (std::size_t k = 0; k < steps.size(); ++k) {
      EXPECT_NEAR(steps[k].hz, 1000 * std::pow(10, (static_cast<double>(k) - 17) / 10), 1e-9);
      EXPECT_GT(steps[k].to_s - steps[k].from_s, 0.9);
      const auto from = static_cast<std::size_t>(std::ceil(steps[k].from_s * rate));
      // Whole cycles within the steady time, as nearly as samples allow.
      const double cycles = std::floor((steps[k].to_s - steps[k].from_s) * steps[k].hz) - 1;
      const auto count = static_cast<std::size_t>(std::llround(cycles / steps[k].hz * rate));
      EXPECT_NEAR(20 * std::log10(amplitude(x, from, count, steps[k].hz, rate)), -30, 0.01) << steps[k].hz;
    }
  }
}

TEST(Tones, StepsKeepTheirLevelWithALongFade) {
  AudioSignalOptions o = mono();
  o.fade_seconds = 3;
  o.seconds = 20;
  const Recipe r = shipped_recipe("steps-speech");
  const auto x = render(r, o);
  EXPECT_NEAR(static_cast<double>(x.size()) / 48000, 20, 0.001);
  for (const ToneStep& s : tone_steps(r, o)) {
    const auto from = static_cast<std::size_t>(s.from_s * 48000) + 1;
    const double cycles = std::floor((s.to_s - s.from_s) * s.hz) - 1;
    const auto count = static_cast<std::size_t>(std::llround(cycles / s.hz * 48000));
    EXPECT_NEAR(20 * std::log10(amplitude(x, from, count, s.hz, 48000)), -30, 0.01) << s.hz;
  }
}

TEST(Tones, RouteAndChannels) {
  AudioSignalOptions o;
  o.route = Route::Right;
  const Recipe r = shipped_recipe("tone-1k");
  EXPECT_EQ(dbfs(render(r, o, 0), 0, 48000 * 20), -INFINITY);
  EXPECT_NEAR(dbfs(render(r, o, 1), 48000, 96000), -30, 0.001);
  o.channels = 5;
  o.route = Route::All;
  EXPECT_NEAR(dbfs(render(r, o, 4), 48000, 96000), -30, 0.001);
}

}  // namespace
