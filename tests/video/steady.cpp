// Levels that do not stay what they are: jumps, a burst that comes and goes, bursts out of step, a tone
// beneath, a coupling capacitor. Truths are what was done to the samples, in closed form.
#include "measuring.hpp"

namespace {

using namespace video_test;
using video_synth::make;
using video_synth::wave_525;
using video_synth::wave_625;

constexpr double rate = 13.5e6;

std::vector<float> scaled(std::vector<float> v, const std::function<double(double s)>& by) {
  for (std::size_t i = 0; i < v.size(); ++i) v[i] *= static_cast<float>(by(static_cast<double>(i) / rate));
  return v;
}

void expect_covers(const Readings& r, const std::string& id, std::initializer_list<double> truths) {
  const Reading& x = get(r, id);
  std::printf("    %-28s %.2f +- %.2f %s\n", id.c_str(), x.number(), x.uncertainty.value_or(0),
              x.reason.c_str());
  for (const double t : truths)
    EXPECT_LE(std::abs(x.number() - t), x.uncertainty.value_or(0)) << id << " does not reach " << t;
}

TEST(VideoSteady, SteadyLevelIsSaidToBe) {
  for (video_synth::Wave w : {with_bars(wave_625()), with_bars(wave_525())}) {
    for (const double noise : {1.0, 7.0, 40.0}) {
      w.noise_mv = noise;
      const Readings r = measured(w, rate, 0.12);
      const Reading& step = get(r, "video.level.step");
      EXPECT_FALSE(step.measured()) << step.number();
      EXPECT_LT(step.at_most.value_or(9), noise < 10 ? 0.3 : 1.2);
      EXPECT_EQ(get(r, "video.burst.missing").number(), 0);
      EXPECT_LT(get(r, "video.sync.amplitude").uncertainty.value_or(9), 2);
    }
  }
}

TEST(VideoSteady, JumpsOfTheWholeSignal) {
  video_synth::Wave w = with_bars(wave_625());
  w.noise_mv = 3;
  const std::vector<float> v = make(w, rate, 0.4);
  // 15 % up and down, 22 changes a second.
  const Readings r =
      measured(rate, scaled(v, [](double s) { return std::fmod(s * 11, 1.0) < 0.5 ? 1.15 : 0.85; }));
  expect_near(r, "video.level.step", 20 * std::log10(1.15 / 0.85), 0.1);
  expect_covers(r, "video.sync.amplitude", {255, 345});
  expect_covers(r, "video.burst.amplitude", {255, 345});
  expect_covers(r, "video.white", {595, 805});
  expect_covers(r, "video.bars.green.chroma", {0.85 * 620, 1.15 * 620});
  // 10 ms at 0.7 in 400.
  const Readings dip = measured(rate, scaled(v, [](double s) { return s > 0.2 && s < 0.21 ? 0.7 : 1.0; }));
  expect_near(dip, "video.level.step", 20 * std::log10(1 / 0.7), 0.1);
  expect_covers(dip, "video.sync.amplitude", {210, 300});
  // Down to six tenths for good.
  const Readings down = measured(rate, scaled(v, [](double s) { return s < 0.2 ? 1.0 : 0.6; }));
  expect_near(down, "video.level.step", 20 * std::log10(1 / 0.6), 0.1);
  expect_covers(down, "video.sync.amplitude", {180, 300});
  expect_covers(down, "video.white", {420, 700});
}

TEST(VideoSteady, BurstThatGoes) {
  video_synth::Wave w = with_bars(wave_525());
  w.noise_mv = 3;
  std::vector<float> v = make(w, rate, 0.3);
  w.burst_pp_mv = 0;
  const std::vector<float> without = make(w, rate, 0.3, 2);
  std::copy(without.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), without.end(),
            v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2));
  const Readings r = measured(rate, std::move(v));
  EXPECT_NEAR(get(r, "video.burst.missing").number(), 50, 2);
  expect_covers(r, "video.burst.amplitude", {0, 2000.0 / 7});
  EXPECT_FALSE(get(r, "video.level.step").measured());
}

// Lines 10 and 273 are the first with a burst of their fields [SMPTE 170M]; line 100 lies in the picture.
TEST(VideoSteady, BurstBlankedOnTheSameLines) {
  video_synth::Wave w = with_bars(wave_525());
  const std::vector<float> as_is = video_synth::clean(w, rate, 0.2);
  w.burst_pp_mv = 0;
  const std::vector<float> without = video_synth::clean(w, rate, 0.2);
  const auto lacking = [&](std::vector<int> lines) {
    std::vector<float> v = as_is;
    for (std::size_t i = 0; i < v.size(); ++i) {
      const double line = static_cast<double>(i) / rate * 525 * 30 / 1.001 + w.start_line - 1;
      const int number = 1 + static_cast<int>(static_cast<std::int64_t>(line) % 525);
      if (std::ranges::find(lines, number) != lines.end()) v[i] = without[i];
    }
    return measured(rate, std::move(v));
  };
  const Readings blanked = lacking({10, 273});
  const Reading missing = get(blanked, "video.burst.missing");
  EXPECT_NE(missing.reason.find("lines 10, 273:"), std::string::npos) << missing.reason;
  // Of a field's 262.5 lines the nine of vertical sync and equalising have no burst, and the half line none
  // or one by turns [SMPTE 170M].
  EXPECT_NEAR(get(blanked, "video.burst.blanked").number(), 100 * 2 / 507.0, 0.01);
  EXPECT_NEAR(get(blanked, "video.burst.blanked").number(), missing.number(), 0.01);
  const Readings lost = lacking({100});
  EXPECT_GT(get(lost, "video.burst.missing").number(), 0.1);
  EXPECT_EQ(get(lost, "video.burst.missing").reason, "");
  EXPECT_EQ(find_reading(lost, "video.burst.blanked"), nullptr);
}

TEST(VideoSteady, ColoursWithoutABurst) {
  for (video_synth::Wave w : {with_bars(wave_625()), with_bars(wave_525())}) {
    w.noise_mv = 3;
    w.burst_pp_mv = 0;
    const Readings all = measured(w, rate, 0.12);
    const Reading r = get(all, "video.burst.amplitude");
    EXPECT_FALSE(r.measured());
    EXPECT_NE(r.reason.find("colours stand in the bars"), std::string::npos) << r.reason;
    EXPECT_EQ(get(all, "video.burst.lost").text(), "yes");
    w.burst_pp_mv = 300;
    EXPECT_EQ(find_reading(measured(w, rate, 0.12), "video.burst.lost"), nullptr);
  }
}

// A steady tone has a mean of nought over lines that it falls on at every phase: what is flat keeps its
// level.
TEST(VideoSteady, ToneBelowTheSubcarrier) {
  const video_synth::Wave w = with_bars(wave_625());
  for (const double hz : {8.1e3, 21.3e3, 52.3e3, 151.2e3}) {
    std::printf("  %.1f kHz\n", hz * 1e-3);
    std::vector<float> v = make(w, rate, 0.16);
    add(v, noise_of(
               v.size(), rate, [](double) { return 4e-6 / 6.75e6; }, 4));
    add_tone(v, rate, hz, 60);
    const Readings r = measured(rate, std::move(v));
    EXPECT_EQ(get(r, "video.pattern").text(), "colour bars 100/0/75/0");
    expect_near(r, "video.white", 700, 1.5);
    expect_near(r, "video.bars.yellow.luma", 0.886 * 525, 1.5);
    expect_near(r, "video.bars.yellow.chroma", 469.7, 2);
  }
}

// Mean of cos p over normal p of scatter s: e^(-s^2/2) [closed form].
TEST(VideoSteady, BurstsOutOfStep) {
  for (const double degrees : {4.0, 8.0, 15.0}) {
    video_synth::Wave w = with_bars(wave_625());
    w.noise_mv = 3;
    std::vector<float> v = make(w, rate, 0.2);
    // Burst of each line taken out and put back with a phase of its own.
    video_synth::Wave none = w;
    none.noise_mv = 0;
    const std::vector<float> as_is = video_synth::clean(none, rate, 0.2);
    none.burst_pp_mv = 0;
    const std::vector<float> without = video_synth::clean(none, rate, 0.2);
    none.burst_pp_mv = 300;
    none.sc_h_deg = 90;
    const std::vector<float> across = video_synth::clean(none, rate, 0.2);
    std::mt19937 gen(7);
    std::normal_distribution<double> normal(0, degrees * video_synth::pi / 180);
    double p = 0;
    std::int64_t last = -1;
    for (std::size_t i = 0; i < v.size(); ++i) {
      const double line = static_cast<double>(i) / rate * 15625.0 + w.start_line - 1;
      const auto now = static_cast<std::int64_t>(line);
      if (now != last) p = normal(gen);
      last = now;
      const double us = (line - std::floor(line)) * 64;
      if (us < 5 || us > 9) continue;
      const float burst = as_is[i] - without[i];
      const float turned = across[i] - without[i];
      v[i] += static_cast<float>(std::cos(p) - 1) * burst + static_cast<float>(std::sin(p)) * turned;
    }
    std::printf("  %.0f deg\n", degrees);
    expect_near(measured(rate, std::move(v)), "video.burst.amplitude", 300, 3);
  }
}

// Behind a coupling capacitor the picture tilts blanking at the field rate: no hum. With hum beside it, the
// hum.
TEST(VideoSteady, CouplingIsNoHum) {
  for (const double corner_hz : {0.5, 3.0, 30.0}) {
    for (const double hum_mv : {0.0, 30.0}) {
      video_synth::Wave w = with_bars(wave_625());
      w.noise_mv = 3;
      std::vector<float> v = make(w, rate, 1.2);
      const double kept = std::exp(-2 * video_synth::pi * corner_hz / rate);
      double in = 0;
      double out = 0;
      for (float& x : v) {
        out = kept * out + (1 + kept) / 2 * (static_cast<double>(x) - in);
        in = static_cast<double>(x);
        x = static_cast<float>(out);
      }
      v.erase(v.begin(), v.end() - static_cast<std::ptrdiff_t>(0.25 * rate));
      if (hum_mv > 0) add_tone(v, rate, 50.6, hum_mv);
      const Readings r = measured(rate, std::move(v));
      const Reading& hum = get(r, "video.hum.level");
      std::printf("  %.1f Hz, %.0f mV: %.2f +- %.2f at most %.2f\n", corner_hz, hum_mv,
                  hum.measured() ? hum.number() : 0, hum.uncertainty.value_or(0), hum.at_most.value_or(0));
      if (hum_mv > 0) {
        ASSERT_TRUE(hum.measured()) << hum.reason;
        EXPECT_NEAR(hum.number(), hum_mv, std::min(hum.uncertainty.value_or(0), 7.0));
        EXPECT_LE(std::abs(get(r, "video.hum.frequency").number() - 50.6),
                  2 * get(r, "video.hum.frequency").uncertainty.value_or(0));
      } else {
        EXPECT_LE(hum.measured() ? hum.number() - hum.uncertainty.value_or(0) : 0.0, 0.0);
        EXPECT_LT(hum.measured() ? hum.uncertainty.value_or(0) : hum.at_most.value_or(99), 9);
      }
    }
  }
}

}  // namespace
