// Mains hum in a return of the test of speech transmission, whose own noise fills the band from 88 Hz up.
#include <linebench/measure/audio.hpp>

#include "measure/support_readings.hpp"
#include "support/stipa_synth.hpp"
#include "support/synth.hpp"

using namespace readings_support;
using namespace linebench;

namespace {

constexpr double rate = 24000;

Readings returned(synth::Samples x, unsigned seed) {
  synth::add_noise(x, -70, seed);
  measure::AudioOptions options;
  options.signal = "stipa";
  return readings_support::measure(rate, {std::move(x)}, options);
}

double full_modulation(int, int) { return 1; }

// Seen at a virtual card: in one good return of eight a comb of 60.18 Hz at -47.6 dBFS, of its second
// multiple alone, and the station failed by it.
TEST(HumUnderStipa, TheSignalsOwnNoiseIsNoHum) {
  for (unsigned seed = 1; seed <= 30; ++seed) {
    const Readings r = returned(stipa_synth::stipa(rate, 20, seed, full_modulation), seed);
    EXPECT_FALSE(measured(r, "audio.hum.level")) << seed << ": " << value(r, "audio.hum.level");
  }
}

TEST(HumUnderStipa, AFundamentalIsSeen) {
  for (unsigned seed = 1; seed <= 6; ++seed) {
    for (const double hz : {50.02, 59.98}) {
      synth::Samples x = stipa_synth::stipa(rate, 20, seed, full_modulation);
      synth::add_sine(x, rate, hz, -30);
      const Readings r = returned(std::move(x), seed);
      EXPECT_NEAR(value(r, "audio.hum.level"), -30.0,
                  std::max(reading(r, "audio.hum.level").uncertainty.value_or(0), 1.5))
          << seed << " " << hz;
    }
  }
}

}  // namespace
