#include <linebench/measure/noise.hpp>

#include "measure/support_readings.hpp"
#include "support/coverage.hpp"

using namespace readings_support;
using synth::Samples;

namespace {

// Noise whose loudness follows syllables and pauses: level moves by 20 dB and more, a few times a second.
Samples speech_like(double rate, double seconds, std::uint64_t seed) {
  Samples x(synth::count(seconds, rate));
  synth::add_noise(x, -20, seed);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double syllable = std::pow(std::max(0.0, std::sin(2 * std::numbers::pi * 3.1 * t)), 2.0);
    const double phrase = std::fmod(t, 2.3) < 1.6 ? 1.0 : 0.001;
    x[n] *= static_cast<float>(0.003 + syllable * phrase);
  }
  return x;
}

}  // namespace

TEST(Noise, WhiteNoiseReadsItsBand) {
  for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
    Samples x(synth::count(3.0, rate));
    synth::add_noise(x, -60, 7);
    const auto r = measure(rate, {x});
    EXPECT_NEAR(value(r, "audio.noise.unweighted"), synth::noise_in_band(-60, rate, 20, 20000), 0.15) << rate;
    EXPECT_FALSE(measured(r, "audio.tone.frequency"));
    // A quasi-peak meter reads noise some 4 to 6 dB above the rms meter (common practice).
    EXPECT_NEAR(value(r, "audio.noise.bs468_peak") - value(r, "audio.noise.bs468"), 5.0, 1.5) << rate;
  }
}

TEST(Noise, BandEndsEarlierAtLowRates) {
  Samples x(16000 * 3);
  synth::add_noise(x, -60, 7);
  const auto r = measure(16000, {x});
  EXPECT_NEAR(value(r, "audio.noise.unweighted"), synth::noise_in_band(-60, 16000, 20, 7200), 0.15);
  EXPECT_NE(reading(r, "audio.noise.unweighted").reason.find("7200"), std::string::npos);
}

TEST(Noise, UncertaintiesAreTrue) {
  for (const double seconds : {0.3, 1.0, 4.5}) {
    coverage::expect_coverage("white noise", 200, [&](unsigned seed) {
      Samples x(synth::count(seconds, 16000));
      synth::add_noise(x, -50, seed);
      const auto r = measure(16000, {x});
      return coverage::Trial{value(r, "audio.noise.unweighted"),
                             *reading(r, "audio.noise.unweighted").uncertainty,
                             synth::noise_in_band(-50, 16000, 20, 7200)};
    });
  }
}

TEST(Noise, ProgrammeIsNotNoise) {
  const auto r = measure(48000, {speech_like(48000, 6.0, 1)});
  for (const char* id :
       {"audio.noise.unweighted", "audio.noise.a", "audio.noise.bs468", "audio.noise.bs468_peak"}) {
    EXPECT_FALSE(measured(r, id)) << id;
  }
  EXPECT_NE(reading(r, "audio.noise.a").reason.find("programme"), std::string::npos);
}

// A drone under speech, a held note in music: no test tone, unless one is known to have been sent. The same
// tone in steady noise is one, with the signal to noise ratio it was made with.
TEST(Noise, AHeldNoteUnderProgrammeIsNoTestTone) {
  Samples x = speech_like(48000, 8.0, 3);
  synth::add_sine(x, 48000, 440, -38);
  const auto r = measure(48000, {x});
  for (const char* id :
       {"audio.tone.level", "audio.thd", "audio.thd_n", "audio.snr", "audio.noise.unweighted"})
    EXPECT_FALSE(measured(r, id)) << id;
  EXPECT_NE(reading(r, "audio.tone.level").reason.find("programme"), std::string::npos)
      << reading(r, "audio.tone.level").reason;
  Samples y(synth::count(8.0, 48000));
  synth::add_noise(y, -40, 5);
  synth::add_sine(y, 48000, 440, -38);
  const auto steady = measure(48000, {y});
  EXPECT_NEAR(value(steady, "audio.tone.level"), -38, 0.3);
  EXPECT_NEAR(value(steady, "audio.snr"), -38 - synth::noise_in_band(-40, 48000, 20, 20000), 0.4);
}

TEST(Noise, ASweepIsNeitherToneNorNoise) {
  Samples x(48000 * 6);
  double phase = 0;
  for (std::size_t n = 0; n < x.size(); ++n) {
    phase += 2 * std::numbers::pi * 20 *
             std::pow(1000.0, static_cast<double>(n) / static_cast<double>(x.size())) / 48000;
    x[n] = static_cast<float>(0.1 * std::sin(phase));
  }
  const auto r = measure(48000, {x});
  EXPECT_FALSE(measured(r, "audio.tone.frequency"));
  EXPECT_FALSE(measured(r, "audio.noise.unweighted"));
}

TEST(Noise, ALineWhistleBesideATestToneIsNoise) {
  Samples x(48000 * 4);
  synth::add_sine(x, 48000, 1000, -20);
  synth::add_sine(x, 48000, 15625, -60);
  synth::add_noise(x, -90, 4);
  const auto r = measure(48000, {x});
  EXPECT_NEAR(value(r, "audio.snr"), 40.0, 0.05);
  Samples idle(48000 * 4);
  synth::add_sine(idle, 48000, 15734.27, -55);
  synth::add_noise(idle, -90, 4);
  EXPECT_FALSE(measured(measure(48000, {idle}), "audio.tone.frequency"));
  EXPECT_NEAR(value(measure(48000, {idle}), "audio.noise.unweighted"), -55.0, 0.05);
}

TEST(Noise, SilenceAndDcAreSaid) {
  const auto silent = measure(48000, {Samples(48000)});
  EXPECT_NE(reading(silent, "audio.noise.a").reason.find("digital silence"), std::string::npos);
  const auto dc = measure(48000, {Samples(48000, 0.2F)});
  EXPECT_FALSE(measured(dc, "audio.noise.a"));
  EXPECT_NEAR(value(dc, "audio.level.dc"), 0.2, 1e-6);
}

TEST(Noise, TooShortSaysHowLong) {
  Samples x(synth::count(0.12, 48000));
  synth::add_noise(x, -50, 1);
  const auto r = measure(48000, {x});
  EXPECT_FALSE(measured(r, "audio.noise.a"));
  EXPECT_NE(reading(r, "audio.noise.a").reason.find("take at least"), std::string::npos);
}
