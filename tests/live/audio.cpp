// The audio meter on closed-form signals: values, how long after a change they are there, and whether what it
// claims of their uncertainty is true.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>

#include "feeding.hpp"
#include "support/coverage.hpp"

namespace {

using namespace linebench;
using feeding::value;

constexpr double rate = 48000;
constexpr double pi = std::numbers::pi;

double rms_dbfs(double power_of_sines) { return 10 * std::log10(power_of_sines); }

TEST(LiveAudio, ReadsAClosedFormSignalOnBothSides) {
  synth::Samples left(synth::count(6, rate)), right(left.size());
  synth::add_sine(left, rate, 997, -20);
  synth::add_sine(left, rate, 50.1, -40);
  synth::add_sine(left, rate, 150.3, -50);
  synth::add_noise(left, -70, 1);
  synth::add_noise(right, -80, 2);
  live::AudioMeter meter(feeding::facts(rate, 2), {});
  live::AudioView last;
  feeding::feed(meter, {left, right}, 960, [&](const live::AudioView& v) { last = v; });
  EXPECT_NEAR(last.time_s, 6, 0.051);
  // Powers of uncorrelated parts add.
  EXPECT_NEAR(*value(last.readings, "audio.level.rms.left"), rms_dbfs(1e-2 + 1e-4 + 1e-5 + 1e-7), 0.02);
  EXPECT_NEAR(*value(last.readings, "audio.hum.level.left"), rms_dbfs(1e-4 + 1e-5), 0.05);
  EXPECT_NEAR(*value(last.readings, "audio.hum.frequency.left"), 50.1, 0.005);
  EXPECT_NEAR(*value(last.readings, "audio.tone.frequency.left"), 997, 0.01);
  EXPECT_NEAR(*value(last.readings, "audio.tone.level.left"), -20, 0.02);
  // Tone over hum and the noise of 20 Hz to 20 kHz.
  ASSERT_TRUE(value(last.readings, "audio.snr.left"))
      << find_reading(last.readings, "audio.snr.left")->reason;
  EXPECT_NEAR(*value(last.readings, "audio.snr.left"), -20 - rms_dbfs(1e-4 + 1e-5 + 1e-7 * 19980 / 24000),
              0.3);
  EXPECT_NEAR(*value(last.readings, "audio.level.rms.right"), -80, 0.6);
  EXPECT_FALSE(value(last.readings, "audio.hum.level.right"));
  EXPECT_FALSE(value(last.readings, "audio.snr.right"));
  EXPECT_EQ(find_reading(last.readings, "audio.signal.right")->text(), "idle");
  // The spectrum's highest line stands at the tone, at its own level.
  ASSERT_EQ(last.spectra.size(), 2U);
  const Curve& s = last.spectra[0];
  const auto top = static_cast<std::size_t>(std::max_element(s.y.begin(), s.y.end()) - s.y.begin());
  EXPECT_NEAR(s.x[top], 997, 10);
  EXPECT_NEAR(s.y[top], -20, 1);
  EXPECT_LE(s.x.size(), 320U);
}

bool same(const Value& a, const Value& b) {
  const auto* x = std::get_if<double>(&a);
  const auto* y = std::get_if<double>(&b);
  return x != nullptr && y != nullptr ? *x == *y : a.index() == b.index();
}

TEST(LiveAudio, BlocksOfAnyLengthGiveTheSameReadings) {
  synth::Samples x(synth::count(3, rate));
  synth::add_sine(x, rate, 50, -30);
  synth::add_noise(x, -60, 3);
  std::vector<Readings> all;
  for (const std::size_t block : {1U, 441U, 2400U, 100000U}) {
    live::AudioMeter meter(feeding::facts(rate, 1), {});
    feeding::feed(meter, {x}, block, [](const live::AudioView&) {});
    all.push_back(meter.view().readings);
  }
  for (const Readings& r : all) {
    ASSERT_EQ(r.size(), all[0].size());
    for (std::size_t i = 0; i < r.size(); ++i) {
      EXPECT_EQ(r[i].id, all[0][i].id);
      EXPECT_TRUE(same(r[i].value, all[0][i].value)) << r[i].id;
    }
  }
}

// A step of level at every phase of the meter's own step; the reading must be there, and right, in time.
TEST(LiveAudio, ALevelIsReadWithin250msOfItsChange) {
  double worst = 0;
  for (int k = 0; k < 10; ++k) {
    const double at = 2.0 + 0.005 * k;
    synth::Samples x(synth::count(3, rate));
    for (std::size_t n = 0; n < x.size(); ++n) {
      const double t = static_cast<double>(n) / rate;
      x[n] = static_cast<float>((t < at ? 0.001 : 0.1) * std::sin(2 * pi * 1000 * t));
    }
    live::AudioMeter meter(feeding::facts(rate, 1), {});
    double seen = 0;
    feeding::feed(meter, {x}, 480, [&](const live::AudioView& v) {
      const auto level = value(v.readings, "audio.level.rms");
      const bool right = level && std::abs(*level + 20) < 0.1;
      if (!right) seen = 0;
      if (right && seen == 0) seen = v.time_s;
    });
    ASSERT_GT(seen, at);
    worst = std::max(worst, seen - at);
  }
  std::printf("  a change of level is read after %.0f ms at the most\n", 1000 * worst);
  EXPECT_LT(worst, 0.25);
}

TEST(LiveAudio, SilenceIsToldWithin250ms) {
  synth::Samples x(synth::count(3, rate));
  for (std::size_t n = 0; n < x.size() / 2; ++n) x[n] = n % 3 == 0 ? 0.1F : -0.1F;
  live::AudioMeter meter(feeding::facts(rate, 1), {});
  double seen = 0;
  feeding::feed(meter, {x}, 480, [&](const live::AudioView& v) {
    if (v.time_s > 1.5 && seen == 0 && find_reading(v.readings, "audio.signal")->text() == "none")
      seen = v.time_s;
  });
  ASSERT_GT(seen, 1.5);
  EXPECT_LT(seen - 1.5, 0.25);
}

TEST(LiveAudio, ClippingIsCountedWithinASecond) {
  synth::Samples x(synth::count(4, rate));
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double a = t < 2 ? 0.5 : 1.6;
    x[n] = static_cast<float>(std::clamp(a * std::sin(2 * pi * 443 * t), -1.0, 1.0));
  }
  live::AudioMeter meter(feeding::facts(rate, 1), {});
  double seen = 0;
  feeding::feed(meter, {x}, 480, [&](const live::AudioView& v) {
    const auto clipped = value(v.readings, "audio.clip.samples");
    if (clipped && v.time_s <= 2.0) {
      EXPECT_EQ(*clipped, 0) << v.time_s;
    }
    if (seen == 0 && clipped && *clipped > 0) seen = v.time_s;
  });
  ASSERT_GT(seen, 2.0);
  EXPECT_LT(seen - 2.0, 1.0);
}

TEST(LiveAudio, LevelUncertaintyIsTrue) {
  coverage::expect_coverage("level of white noise over 0.1 s", 400, [](unsigned seed) {
    synth::Samples x(synth::count(0.1, rate));
    synth::add_noise(x, -30, seed);
    live::AudioMeter meter(feeding::facts(rate, 1), {});
    feeding::feed(meter, {x}, 4800, [](const live::AudioView&) {});
    const Reading* r = find_reading(meter.view().readings, "audio.level.rms");
    return coverage::Trial{r->number(), r->uncertainty.value(), -30};
  });
}

TEST(LiveAudio, RefusesWhatIsNoAudio) {
  EXPECT_THROW(live::AudioMeter(feeding::facts(4000, 1), {}), Error);
  EXPECT_THROW(live::AudioMeter(feeding::facts(rate, 0), {}), Error);
}

}  // namespace
