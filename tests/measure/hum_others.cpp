// What is beside mains hum or looks like it: ripple of other supplies, triplen lines, second combs, 400 Hz
// supplies, sent signals, low tones. Rectifier spectra: the Fourier series of a full-wave rectified sine,
// 1/(4 n^2 - 1), and of a sawtooth, 1/n (any handbook of mathematics).
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/hum.hpp>
#include <map>
#include <tuple>

#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

constexpr double rate = 16000;

HumResult hum_of(const synth::Samples& x, const HumOptions& options = {}) {
  HumAnalyser a(rate, options);
  a.push(x);
  return a.finish();
}

synth::Samples combs(const std::vector<std::pair<double, std::map<int, double>>>& list,
                     double noise_db = -90.0) {
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  synth::add_noise(x, noise_db, 4);
  for (const auto& [f0, lines] : list) {
    for (const auto& [k, db] : lines) synth::add_sine(x, rate, f0 * k, db, 0.3 * k * k);
  }
  return x;
}

std::string reason_of(const HumResult& r, const char* id) {
  const Readings readings = to_readings(r, "");
  return find_reading(readings, id)->reason;
}

TEST(HumOthers, RippleOfAnySupplyIsRipple) {
  for (const double f0 : {46.2, 49.97, 53.0, 55.0, 60.03, 63.7}) {
    // Sawtooth of a reservoir capacitor, and the bare rectified sine.
    for (const auto& shape : {std::map<int, double>{{2, -50}, {4, -56.02}, {6, -59.54}, {8, -62.04}},
                              std::map<int, double>{{2, -50}, {4, -63.98}, {6, -71.34}}}) {
      const HumResult r = hum_of(combs({{f0, shape}}));
      ASSERT_TRUE(r.found) << f0;
      EXPECT_EQ(r.kind, HumKind::Ripple) << f0;
      EXPECT_NEAR(r.frequency_hz, f0, 0.001) << f0;
    }
  }
  EXPECT_NE(
      reason_of(hum_of(combs({{53.0, {{2, -50}, {4, -56}, {6, -60}}}})), "audio.hum.kind").find("106 Hz"),
      std::string::npos);
}

// Every fifth multiple of 60 Hz is a sixth of 50 Hz. What a phase-cut load couples through a capacitance has
// odd multiples of about one height: the cut sine's own fall by 6 dB an octave [Fourier series of a step],
// which the capacitance gives back.
TEST(HumOthers, AThirdOfACombIsNotAnothersMains) {
  for (const double f0 : {49.97, 60.0, 60.01}) {
    for (const double tone_db : {-200.0, -18.0}) {
      synth::Samples x(synth::count(11.0, rate), 0.0F);
      synth::add_noise(x, -86, 4);
      if (tone_db > -100) synth::add_sine(x, rate, 997, tone_db, 0);
      double power = 0;
      for (int k = 3; k * f0 < 7000; k += 2) {
        synth::add_sine(x, rate, f0 * k, -70, 0.3 * k * k);
        power += power_from_db(-70);
      }
      const HumResult r = hum_of(x);
      ASSERT_TRUE(r.found) << f0;
      EXPECT_NEAR(r.frequency_hz, f0, 0.001) << f0;
      const Readings readings = to_readings(r, "");
      for (const int k : {5, 9}) {
        const Reading* h = find_reading(readings, "audio.hum.harmonic." + std::to_string(k));
        ASSERT_NE(h, nullptr) << f0 << " " << k;
        EXPECT_NEAR(h->number(), -70, 0.2) << f0 << " " << k;
      }
    }
  }
}

TEST(HumOthers, ALoneThirdHarmonicIsHumWherePublicMainsRuns) {
  const HumResult r = hum_of(combs({{50.02, {{3, -50}}}}));
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(dbfs_from_power(r.power), -50.0, 0.02);
  EXPECT_NE(reason_of(r, "audio.hum.kind").find("neutral"), std::string::npos);
  // Elsewhere it is not called hum, and the bound is not below it.
  const HumResult other = hum_of(combs({{53.0, {{3, -50}}}}));
  EXPECT_FALSE(other.found);
  EXPECT_GE(dbfs_from_power(other.least_power), -50.0);
  EXPECT_NE(reason_of(other, "audio.hum.level").find("159 Hz"), std::string::npos);
}

TEST(HumOthers, LowTonesAreNoHum) {
  for (const double hz : {15.0, 17.3, 20.7, 24.0, 28.0, 30.0, 33.0, 38.0, 41.0, 70.0, 77.0}) {
    const HumResult r = hum_of(combs({{hz, {{1, -20}}}}, -110.0));
    EXPECT_FALSE(r.found) << hz << " read as " << r.frequency_hz;
    const HumResult hum = hum_of(combs({{hz, {{1, -20}}}, {50.03, {{1, -80}, {3, -85}}}}, -110.0));
    ASSERT_TRUE(hum.found) << hz;
    EXPECT_NEAR(dbfs_from_power(hum.power), db_from_power(power_from_db(-80) + power_from_db(-85)), 0.3)
        << hz;
  }
}

TEST(HumOthers, ASecondCombIsSaid) {
  const HumResult r = hum_of(combs({{50.02, {{1, -50}, {3, -55}}}, {59.98, {{1, -56}, {2, -60}, {3, -62}}}}));
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(r.frequency_hz, 50.02, 0.001);
  EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(power_from_db(-50) + power_from_db(-55)), 0.1);
  ASSERT_TRUE(r.second);
  EXPECT_NEAR(r.second->hz, 59.98, 0.002);
  EXPECT_NE(reason_of(r, "audio.hum.level").find("59.98 Hz"), std::string::npos);
  const HumResult one = hum_of(combs({{50.02, {{1, -50}, {3, -55}}}}));
  EXPECT_FALSE(one.second);
  EXPECT_FALSE(one.supply);
}

TEST(HumOthers, A400HzSupplyIsSaidAndNotCounted) {
  const std::map<int, double> hum{{1, -50}, {2, -60}, {3, -55}, {5, -65}, {7, -70}};
  double total = 0.0;
  for (const auto& [k, db] : hum) total += power_from_db(db);
  for (const double hz : {396.0, 400.0, 403.0}) {
    const std::map<int, double> supply{{1, -48}, {3, -58}, {5, -64}};
    const HumResult both = hum_of(combs({{50.0, hum}, {hz, supply}}));
    ASSERT_TRUE(both.found) << hz;
    EXPECT_NEAR(dbfs_from_power(both.power), db_from_power(total), 0.1) << hz;
    ASSERT_TRUE(both.supply) << hz;
    EXPECT_NEAR(both.supply->hz, hz, 0.01);
    const HumResult alone = hum_of(combs({{hz, supply}}));
    EXPECT_FALSE(alone.found) << hz;
    EXPECT_NE(reason_of(alone, "audio.hum.level").find("ship supply"), std::string::npos) << hz;
  }
}

TEST(HumOthers, SentTonesAreLeftOut) {
  // Tones of a many-tone signal on a 10 Hz grid, by a recorder's clock 80 ppm off.
  std::vector<double> sent{250, 350, 450, 550, 750, 850, 1150, 1550, 1950};
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  synth::add_noise(x, -95.0, 4);
  for (std::size_t i = 0; i < sent.size(); ++i) {
    synth::add_sine(x, rate, sent[i] * 1.00008, -35.0, static_cast<double>(i * i));
  }
  EXPECT_FALSE(hum_of(x, HumOptions{{}, {}, sent}).found);
  synth::add_sine(x, rate, 50.04, -70.0);
  synth::add_sine(x, rate, 150.12, -75.0);
  const HumResult r = hum_of(x, HumOptions{{}, {}, sent});
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(power_from_db(-70) + power_from_db(-75)), 0.1);
}

TEST(HumOthers, UnderASentToneAtTheMainsNothingIsClaimed) {
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  synth::add_noise(x, -95.0, 4);
  synth::add_sine(x, rate, 60.0, -25.0);
  synth::add_sine(x, rate, 7000.0, -37.0);
  synth::MemorySource source(rate, {x});
  const Readings readings =
      measure_audio(source, {.mains_hz = {}, .tone_hz = {}, .signal = "imd-60-7k", .clock_error_ppm = {}});
  const Reading* level = find_reading(readings, "audio.hum.level");
  EXPECT_EQ(level->verdict, Verdict::Unmeasurable);
  EXPECT_FALSE(level->at_most);
  EXPECT_NE(level->reason.find("at 60 Hz, where a tone was sent"), std::string::npos) << level->reason;
}

// A tone that nobody announced on a multiple of mains (1 kHz is the 20th of 50 Hz, 1020 Hz the 17th of 60
// Hz), with mains a little beside so that the tone would steer the comb away from it: hum is read for what it
// is.
TEST(HumOthers, AToneOnAHighMultipleIsNoHumAndHidesNone) {
  const std::map<int, double> plain{{1, -33}, {3, -40}, {5, -45}};
  const std::map<int, double> ripple{{2, -33}, {4, -41}, {6, -46}};
  for (const auto& [tone_hz, mains_hz] : {std::pair{1000.0, 50.0}, {400.0, 50.0}, {1020.0, 60.0}}) {
    for (const double off_hz : {0.0, 0.005, -0.01, 0.015}) {
      for (const double tone_dbfs : {-20.0, -30.0, -36.0}) {
        for (const auto& comb : {plain, ripple}) {
          double power = 0;
          for (const auto& [k, db] : comb) power += power_from_db(db);
          const HumResult r = hum_of(combs({{mains_hz + off_hz, comb}, {tone_hz, {{1, tone_dbfs}}}}, -78.0));
          // Where the 6th of ripple stands within 10 dB of a tone on the 8th, either may be either.
          if (tone_hz == 400.0 && tone_dbfs == -36.0 && comb == ripple) continue;
          ASSERT_TRUE(r.found) << tone_hz << " " << mains_hz + off_hz << " " << tone_dbfs;
          EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(power), 0.02)
              << tone_hz << " " << mains_hz + off_hz << " " << tone_dbfs;
          EXPECT_NEAR(r.frequency_hz, mains_hz + off_hz, 1e-4);
        }
      }
    }
  }
}

// Six-pulse ripple (a full-wave rectified three-phase supply): 2/(n^2 - 1) at n = 6, 12, 18, by its Fourier
// series, beside the mains itself: company, no tone.
TEST(HumOthers, SixPulseRippleIsNoTone) {
  std::map<int, double> comb{{1, -45}, {2, -60}};
  double power = power_from_db(-45.0) + power_from_db(-60.0);
  for (const int n : {6, 12, 18}) {
    comb[n] = -35 + 20 * std::log10(35.0 / (n * n - 1.0));
    power += power_from_db(comb[n]);
  }
  const HumResult r = hum_of(combs({{50.03, comb}}));
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(dbfs_from_power(r.power), db_from_power(power), 0.02);
}

// Equal lines or lines that fall slowly, k^-0.3, of `count` multiples, -40 dBFS together.
synth::Samples rich(double f0, int step, int count, double slope) {
  constexpr double fast = 48000;
  synth::Samples x(synth::count(10.0, fast), 0.0F);
  synth::add_noise(x, -95.0, 4);
  double sum = 0.0;
  for (int k = 1; k <= count; ++k) sum += std::pow(k, -2.0 * slope);
  for (int k = 1; k <= count; ++k) {
    synth::add_sine(x, fast, f0 * step * k, -40.0 + db_from_power(std::pow(k, -2.0 * slope) / sum),
                    0.7 * k * k);
  }
  return x;
}

TEST(HumOthers, RichRippleKeepsItsEighthHarmonic) {
  for (const double f0 : {49.93, 50.0}) {
    synth::MemorySource source(48000, {rich(f0, 2, 14, 0.3)});
    const Readings readings = measure_audio(source, {});
    const Reading* level = find_reading(readings, "audio.hum.level");
    EXPECT_NEAR(level->number(), -40.0, 0.01) << f0;
    EXPECT_EQ(level->reason.find("supply"), std::string::npos) << level->reason;
    EXPECT_EQ(find_reading(readings, "audio.hum.kind")->text(), "ripple");
    EXPECT_FALSE(find_reading(readings, "audio.tone.frequency")->measured());
  }
}

TEST(HumOthers, HarmonicsAboveTheFitCount) {
  for (const double f0 : {49.93, 60.02}) {
    for (const auto& [step, count, slope] : {std::tuple{1, 60, 0.3}, {1, 100, 0.0}, {2, 60, 0.3}}) {
      const synth::Samples x = rich(f0, step, count, slope);
      synth::MemorySource source(48000, {x});
      const Readings readings = measure_audio(source, {});
      const Reading* level = find_reading(readings, "audio.hum.level");
      ASSERT_TRUE(level->measured());
      EXPECT_NEAR(level->number(), -40.0, *level->uncertainty) << f0 << " " << step << " " << count;
      EXPECT_LT(*level->uncertainty, 0.06);
      EXPECT_NE(level->reason.find("averaged spectrum"), std::string::npos) << level->reason;
      EXPECT_FALSE(find_reading(readings, "audio.tone.frequency")->measured()) << f0 << " " << count;
      // Where nothing looks above, the uncertainty says so.
      HumAnalyser alone(48000, {});
      alone.push(x);
      const Readings ends = to_readings(alone.finish(), "");
      const Reading* low = find_reading(ends, "audio.hum.level");
      EXPECT_GT(*low->uncertainty, 0.3);
      EXPECT_NE(low->reason.find("the sum ends at harmonic"), std::string::npos) << low->reason;
    }
  }
}

}  // namespace
