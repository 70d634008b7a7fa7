// Hum that is not there all the time, or whose frequency moves: levels and times against closed forms. The
// level is the mean power over the whole capture, the frequency the mean over the time it was there.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/hum.hpp>
#include <map>
#include <numbers>

#include "support/coverage.hpp"
#include "support/synth.hpp"
#include "support/voice.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

constexpr double rate = 8000;

HumResult hum_of(const synth::Samples& x) {
  HumAnalyser a(rate, {});
  a.push(x);
  return a.finish();
}

double level_u_k2(const HumResult& r) { return 8.686 * r.power_u / r.power; }

const std::map<int, double> mixed{
    {1, -4.226}, {2, -7.226}, {3, -5.226}, {5, -10.226}, {7, -14.226}};  // 0 dB in all
const std::map<int, double> lone{{1, 0.0}};

// Adds a comb of total level `db` whose fundamental makes turns(t), from one time to another.
template <class Turns>
void add_comb(synth::Samples& x, const std::map<int, double>& shape, double db, Turns turns, double from_s,
              double to_s, double phase) {
  std::vector<std::pair<int, double>> parts;
  for (const auto& [k, part] : shape) parts.emplace_back(k, std::pow(10.0, (db + part) / 20.0));
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    if (t < from_s || t >= to_s) continue;
    const double turned = turns(t);
    double v = 0.0;
    for (const auto& [k, part] : parts)
      v += part * synth::sine(2.0 * std::numbers::pi * (k * turned + phase * k * k));
    x[i] += static_cast<float>(v);
  }
}

struct Case {
  double seconds, from_s, to_s;
};

TEST(HumTime, PartOfTheCaptureIsFoundWithItsTimes) {
  for (const auto& [seconds, from, to] :
       {Case{10, 1, 10}, Case{10, 0, 9}, Case{10, 0, 3}, Case{10, 5, 10}, Case{10, 4, 5.3}, Case{30, 15, 30},
        Case{30, 0, 15}, Case{60, 22.4, 31.7}}) {
    for (const auto& shape : {mixed, lone}) {
      for (const double noise_db : {-140.0, -90.0, -65.0}) {
        synth::Samples x(synth::count(seconds, rate), 0.0F);
        synth::add_noise(x, noise_db, 5);
        add_comb(
            x, shape, -50.0, [](double t) { return 50.03 * t; }, from, to, 0.1);
        const HumResult r = hum_of(x);
        const std::string what =
            fmt::format("{}: {} to {} s over {} dB, {} lines", seconds, from, to, noise_db, shape.size());
        ASSERT_TRUE(r.found) << what;
        const double truth = -50.0 + 10.0 * std::log10((to - from) / seconds);
        EXPECT_NEAR(dbfs_from_power(r.power), truth, std::max(0.1, level_u_k2(r))) << what;
        EXPECT_NEAR(r.frequency_hz, 50.03, 0.005) << what;
        ASSERT_EQ(r.present.size(), 1U) << what;
        EXPECT_NEAR(r.present.front().from_s, from, 0.05) << what;
        EXPECT_NEAR(r.present.front().to_s, to, 0.05) << what;
        const Readings readings = to_readings(r, "");
        const std::string& reason = find_reading(readings, "audio.hum.level")->reason;
        EXPECT_NE(reason.find(fmt::format("from {:.1f} to {:.1f} s", from, to)), std::string::npos) << reason;
      }
    }
  }
}

TEST(HumTime, OnAndOffUnderAVoice) {
  for (unsigned seed = 0; seed < 8; ++seed) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_voice(x, rate, 100.0 + 11.0 * seed, -25.0, seed + 70);
    synth::add_noise(x, -80.0, seed);
    add_comb(
        x, mixed, -50.0, [](double t) { return 60.02 * t; }, 4.0, 10.0, 0.1);
    const HumResult r = hum_of(x);
    ASSERT_TRUE(r.found) << seed;
    EXPECT_NEAR(dbfs_from_power(r.power), -50.0 + 10.0 * std::log10(0.6), 0.3) << seed;
    EXPECT_NEAR(r.frequency_hz, 60.02, 0.005) << seed;
  }
}

TEST(HumTime, AChangeOfLevelIsSaid) {
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  synth::add_noise(x, -90.0, 5);
  add_comb(
      x, mixed, -50.0, [](double t) { return 50.0 * t; }, 0.0, 10.0, 0.1);
  add_comb(
      x, mixed, -50.0, [](double t) { return 50.0 * t; }, 6.0, 10.0, 0.1);  // 6 dB more from here
  const HumResult r = hum_of(x);
  ASSERT_TRUE(r.found);
  EXPECT_NEAR(dbfs_from_power(r.power), -50.0 + 10.0 * std::log10(0.6 + 0.4 * 4.0), 0.1);
  const Readings readings = to_readings(r, "");
  EXPECT_NE(find_reading(readings, "audio.hum.level")->reason.find("not steady: -50.0 to -44.0"),
            std::string::npos);
}

TEST(HumTime, CoverageOfTheLevelOfPartOfTheCapture) {
  std::vector<HumResult> runs;
  for (unsigned seed = 1; seed <= coverage::trials(150); ++seed) {
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_noise(x, -50.0, seed);
    add_comb(
        x, mixed, -50.0, [](double t) { return 49.96 * t; }, 3.0 + 0.013 * seed, 10.0, 0.01 * seed);
    runs.push_back(hum_of(x));
    ASSERT_TRUE(runs.back().found) << seed;
  }
  coverage::expect_coverage("level of hum for part of the time, dB", 150,
                            [&](unsigned seed) -> coverage::Trial {
                              const HumResult& r = runs[seed - 1];
                              const double truth = -50.0 + 10.0 * std::log10((7.0 - 0.013 * seed) / 10.0);
                              return {dbfs_from_power(r.power), level_u_k2(r), truth};
                            });
  coverage::expect_coverage("its frequency, Hz", 150, [&](unsigned seed) -> coverage::Trial {
    return {runs[seed - 1].frequency_hz, 2.0 * runs[seed - 1].frequency_u, 49.96};
  });
}

// The bound named where none is found is a k=2 one: it holds for 95 % and more, however long the hum was
// there, and where it does not, it is nearly right.
TEST(HumTime, TheBoundHoldsForShortHum) {
  int bad = 0;
  for (unsigned seed = 0; seed < 120; ++seed) {
    const double length = 1.0 + 0.07 * seed;
    const double db = -78.0 + 0.2 * (seed % 60);
    synth::Samples x(synth::count(10.0, rate), 0.0F);
    synth::add_noise(x, -50.0, seed);
    add_comb(
        x, seed % 2 == 0 ? lone : mixed, db, [](double t) { return 50.01 * t; }, 0.5, 0.5 + length,
        0.01 * seed);
    const HumResult r = hum_of(x);
    const double truth = 0.5 * power_from_db(db) * length / 10.0;
    if (!r.found && r.least_power < truth) {
      ++bad;
      EXPECT_LT(truth, 2.0 * r.least_power) << seed;
      std::printf("  %u: %.1f s, %.1f dB over the bound\n", seed, length,
                  db_from_power(truth / r.least_power));
    }
  }
  EXPECT_LE(bad, 6);
}

// Mains that moves by so much within ten seconds, in a straight line or up and down.
TEST(HumTime, CoverageUnderDrift) {
  for (const double range : {0.1, 0.3, 1.0}) {
    for (const bool straight : {true, false}) {
      std::vector<HumResult> runs;
      std::vector<double> truth;
      for (unsigned seed = 1; seed <= coverage::trials(60); ++seed) {
        const double start = 0.37 * seed;
        const double w = 2.0 * std::numbers::pi / 10.0;
        const auto turns = [&](double t) {
          if (straight) return 49.98 * t + 0.5 * range / 10.0 * (t - 5.0) * (t - 5.0);
          return 49.98 * t - 0.5 * range / w * std::cos(w * t + start);
        };
        synth::Samples x(synth::count(10.0, rate), 0.0F);
        synth::add_noise(x, -60.0, seed);
        add_comb(x, mixed, -50.0, turns, 0.0, 10.0, 0.01 * seed);
        runs.push_back(hum_of(x));
        truth.push_back((turns(10.0) - turns(0.0)) / 10.0);
        ASSERT_TRUE(runs.back().found) << range << " " << seed;
        EXPECT_NEAR(runs.back().frequency_hz, truth.back(), 0.005) << range << " " << seed;
        EXPECT_NEAR(dbfs_from_power(runs.back().power), -50.0, 0.1) << range << " " << seed;
      }
      coverage::expect_coverage(
          "level under drift, dB", 60,
          [&](unsigned seed) -> coverage::Trial {
            return {dbfs_from_power(runs[seed - 1].power), level_u_k2(runs[seed - 1]), -50.0};
          },
          0.93, 1.0);
      coverage::expect_coverage(
          "frequency under drift, Hz", 60,
          [&](unsigned seed) -> coverage::Trial {
            return {runs[seed - 1].frequency_hz, 2.0 * runs[seed - 1].frequency_u, truth[seed - 1]};
          },
          0.93, 1.0);
    }
  }
}

}  // namespace
