#include <functional>
#include <linebench/measure/tone.hpp>

#include "measure/support_readings.hpp"
#include "support/coverage.hpp"

using namespace readings_support;
using synth::Samples;

TEST(Tone, FrequencyAndLevelHoldBetweenBinsAtAllRatesAndLengths) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    for (const double hz : {20.37, 31.9, 61.3, 997.123, 3150.77, 15999.3, 19900.1}) {
      for (const double seconds : {0.5, 1.37, 4.9}) {
        if (rate > 50000 && seconds > 4) continue;
        Samples x(synth::count(seconds, rate));
        synth::add_sine(x, rate, hz, -18.0, 0.7);
        const auto r = measure(rate, {x});
        EXPECT_NEAR(value(r, "audio.tone.frequency") / hz, 1.0, 2e-6)
            << hz << " Hz " << rate << " " << seconds << " s";
        EXPECT_NEAR(value(r, "audio.tone.level"), -18.0, 0.02)
            << hz << " Hz " << rate << " " << seconds << " s";
        EXPECT_LE(std::abs(value(r, "audio.tone.frequency") - hz),
                  *reading(r, "audio.tone.frequency").uncertainty)
            << hz << " Hz " << rate << " " << seconds << " s";
      }
    }
  }
}

TEST(Tone, FadesAndSilenceDoNotPullTheLevelDown) {
  const double rate = 48000;
  for (const double fade : {0.05, 0.2, 0.5}) {
    for (const double seconds : {1.6, 3.0, 8.0}) {
      for (const double silence : {0.0, 0.7}) {
        Samples x(synth::count(seconds, rate));
        synth::add_sine(x, rate, 1000.4, -20.0);
        const auto r = measure(rate, {faded(x, rate, fade, silence)});
        EXPECT_NEAR(value(r, "audio.tone.level"), -20.0, 0.02)
            << fade << " s of " << seconds << ", silence " << silence;
        EXPECT_NEAR(value(r, "audio.tone.frequency"), 1000.4, 0.002) << fade << " s of " << seconds;
        EXPECT_GT(value(r, "audio.snr"), 70.0) << fade << " s of " << seconds << ", silence " << silence;
      }
    }
  }
}

TEST(Tone, ClockErrorIsTakenOut) {
  Samples x(48000 * 5);
  synth::add_sine(x, 48000, 1000.0 / (1 + 50e-6), -20.0);  // a recorder 50 ppm fast sees 1 kHz too low
  linebench::measure::AudioOptions options;
  options.clock_error_ppm = 50.0;
  EXPECT_NEAR(value(measure(48000, {x}, options), "audio.tone.frequency"), 1000.0, 1e-4);
}

TEST(Tone, MainsHumIsNotTheTestTone) {
  for (const double mains : {49.93, 60.04}) {
    Samples x(48000 * 5);
    synth::add_noise(x, -80, 3);
    synth::add_sine(x, 48000, mains, -45);
    synth::add_sine(x, 48000, 3 * mains, -55);
    const auto idle = measure(48000, {x});
    EXPECT_FALSE(measured(idle, "audio.tone.level")) << mains;
    EXPECT_NEAR(value(idle, "audio.noise.unweighted"), -44.58, 0.05) << mains;  // hum is noise
    // A weaker test tone beside it is still the tone, and hum counts as noise.
    synth::add_sine(x, 48000, 1000.0, -50);
    const auto both = measure(48000, {x});
    EXPECT_NEAR(value(both, "audio.tone.frequency"), 1000.0, 0.002);
    EXPECT_NEAR(value(both, "audio.snr"), -50.0 + 44.58, 0.05);
  }
}

TEST(Tone, AStrongLoneToneInTheMainsRegionIsATone) {
  Samples x(48000 * 3);
  synth::add_sine(x, 48000, 50.0, -18.0);
  synth::add_noise(x, -90, 1);
  EXPECT_NEAR(value(measure(48000, {x}), "audio.tone.level"), -18.0, 0.01);
  Samples weak(48000 * 3);
  synth::add_sine(weak, 48000, 50.0, -50.0);
  synth::add_noise(weak, -90, 1);
  EXPECT_FALSE(measured(measure(48000, {weak}), "audio.tone.level"));
  linebench::measure::AudioOptions sent;
  sent.tone_hz = 50.0;
  EXPECT_NEAR(value(measure(48000, {weak}, sent), "audio.tone.level"), -50.0, 0.01);
}

// Between the mains' second and third harmonics even a weak tone is a tone when it stands alone.
TEST(Tone, AWeakToneOverTheMainsRegionIsATone) {
  for (const double hz : {150.3, 168.5, 180.5}) {
    for (const double dbfs : {-60.0, -80.0}) {
      Samples x(synth::count(5.0, 48000));
      synth::add_sine(x, 48000, hz, dbfs);
      synth::add_noise(x, -130.0, 3);
      const auto r = measure(48000, {x});
      EXPECT_NEAR(value(r, "audio.tone.level"), dbfs, 0.02) << hz;
      EXPECT_NEAR(value(r, "audio.tone.frequency"), hz, 2e-6 * hz + 1e-4) << dbfs;
    }
  }
}

TEST(Tone, ClippedAndOffsetTonesReadTheirFundamental) {
  Samples x(48000 * 2);
  synth::add_sine(x, 48000, 997.0, 6.0);
  for (float& v : x) v = std::clamp(v, -1.0F, 1.0F);
  const double c = std::pow(10.0, -6.0 / 20);
  const double theta = std::asin(c);
  const double b1 = 2 / (std::numbers::pi * c) * (theta + c * std::sqrt(1 - c * c));  // Fourier series
  const auto r = measure(48000, {x});
  EXPECT_NEAR(value(r, "audio.tone.level"), 20 * std::log10(b1), 0.02);
  EXPECT_NEAR(value(r, "audio.tone.frequency"), 997.0, 0.002);
  Samples offset(48000 * 2, 0.3F);
  synth::add_sine(offset, 48000, 25.0, -20.0);
  EXPECT_NEAR(value(measure(48000, {offset}), "audio.tone.level"), -20.0, 0.02);
}

// Rounded to 16 bits without dither, a tone of 48 samples a period is wrong by the same amount in every
// period: the reading cannot know it, so the claim must hold it.
TEST(Tone, RoundingThatRepeatsIsInTheClaim) {
  const double rate = 48000;
  std::vector<coverage::Trial> repeating;
  double claimed_free = 0;
  for (unsigned seed = 1; seed <= 100; ++seed) {
    for (const double hz : {1000.0, 1000.0 + 0.371 * seed}) {
      Samples x(synth::count(0.5, rate));
      const double dbfs = -20.0 - 0.2 * seed;
      synth::add_sine(x, rate, hz, dbfs, 0.031 * seed);
      for (float& v : x) v = std::round(v * 32768.0F) / 32768.0F;
      synth::MemorySource source(rate, {std::move(x)});
      source.edit_facts().format = "WAV, 16 bit";
      const auto r = linebench::measure::measure_audio(source, {});
      const coverage::Trial t{value(r, "audio.tone.level"), *reading(r, "audio.tone.level").uncertainty,
                              dbfs};
      if (hz == 1000.0) {
        repeating.push_back(t);
      } else {
        claimed_free += t.uncertainty / 100;
        EXPECT_NEAR(t.measured, t.truth, t.uncertainty) << hz << " Hz at " << dbfs;
      }
    }
  }
  // The rounding's worst symmetry is assumed, so the claim may be shy but never proud.
  coverage::expect_coverage(
      "tone of 48 samples a period, 16 bit", 100, [&](unsigned seed) { return repeating[seed - 1]; }, 0.95,
      1.0);
  EXPECT_LT(claimed_free, 0.3 * repeating[50].uncertainty) << "a tone that does not repeat averages it out";
}

TEST(Tone, AStepOfItsLevelIsTold) {
  const double rate = 48000;
  for (const double step_db : {-6.02, 6.02, -0.5}) {
    for (const double at : {3.0, 5.0, 7.33}) {
      Samples x(synth::count(10.0, rate));
      synth::add_sine(x, rate, 997.3, -20.0);
      for (std::size_t i = synth::count(at, rate); i < x.size(); ++i)
        x[i] *= std::pow(10.0F, static_cast<float>(step_db) / 20);
      synth::add_noise(x, -80.0, 3);
      const auto r = measure(rate, {x});
      EXPECT_NEAR(value(r, "audio.tone.step"), step_db, 0.02) << at;
      EXPECT_NEAR(value(r, "audio.tone.step.time"), at, 0.02) << step_db;
      const auto& level = reading(r, "audio.tone.level");
      EXPECT_NE(level.reason.find("steps by"), std::string::npos);
      if (!level.measured()) continue;  // too little of it is as loud as the loudest
      for (const double truth : {-20.0, -20.0 + step_db}) {
        EXPECT_NEAR(level.number(), truth, *level.uncertainty + 0.01) << step_db << " at " << at;
      }
    }
  }
  // Fades and drifts are none.
  for (const bool drift : {true, false}) {
    Samples x(synth::count(10.0, rate));
    synth::add_sine(x, rate, 997.3, -20.0);
    for (std::size_t i = 0; i < x.size(); ++i) {
      const double t = static_cast<double>(i) / rate;
      x[i] *= static_cast<float>(drift ? std::pow(10.0, -t / 40) : std::clamp(std::min(t, 10 - t), 0.0, 1.0));
    }
    EXPECT_EQ(linebench::find_reading(measure(rate, {x}), "audio.tone.step"), nullptr) << drift;
  }
}

TEST(Tone, UncertaintiesAreTrue) {
  struct Case {
    double seconds, noise_dbfs;
  };
  const double rate = 16000;
  for (const Case c : {Case{0.5, -60}, Case{1.5, -40}, Case{5.0, -20}}) {
    std::vector<linebench::Readings> all;
    for (unsigned seed = 1; seed <= coverage::trials(200); ++seed) {
      Samples x(synth::count(c.seconds, rate));
      synth::add_sine(x, rate, 1000.0 + 0.37 * seed, -20.0, 0.1 * seed);
      synth::add_noise(x, c.noise_dbfs, seed);
      all.push_back(measure(rate, {x}));
    }
    const auto check = [&](const char* id, const std::function<double(unsigned)>& truth) {
      coverage::expect_coverage(id, 200, [&](unsigned seed) {
        return coverage::Trial{value(all[seed - 1], id), *reading(all[seed - 1], id).uncertainty,
                               truth(seed)};
      });
    };
    check("audio.tone.frequency", [](unsigned seed) { return 1000.0 + 0.37 * seed; });
    check("audio.tone.level", [](unsigned) { return -20.0; });
    const double in_band = synth::noise_in_band(c.noise_dbfs, rate, 20, 7200);
    check("audio.snr", [&](unsigned) { return -20.0 - in_band; });
  }
}
