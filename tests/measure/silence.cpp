// A programme that is silent on all sides for long.
#include <linebench/measure/audio.hpp>

#include "measure/support_readings.hpp"
#include "support/voice.hpp"

using namespace readings_support;
using namespace linebench;
using synth::Samples;

namespace {

constexpr double rate = 48000;

Samples voice(double seconds, unsigned seed) {
  Samples x(synth::count(seconds, rate), 0.0F);
  synth::add_voice(x, rate, 110.0 + 10 * seed, -22.0, seed);
  return x;
}

void mute(Samples& x, double from_s, double to_s) {
  for (auto i = synth::count(from_s, rate); i < std::min(x.size(), synth::count(to_s, rate)); ++i) x[i] = 0;
}

}  // namespace

TEST(ProgrammeSilent, IsToldWithItsTimesWhereBothSidesAreSilent) {
  Samples left = voice(26, 1), right = voice(26, 2);
  for (Samples* x : {&left, &right}) {
    mute(*x, 5, 9);
    mute(*x, 14, 26);
    synth::add_noise(*x, -90, 3);
  }
  const Readings r = readings_support::measure(rate, {left, right});
  const Reading& silent = reading(r, "audio.programme.silent");
  // A pause of the voice may lie beside what was muted.
  EXPECT_GE(silent.number(), 16 - silent.uncertainty.value_or(0));
  EXPECT_LE(silent.number(), 18);
  EXPECT_NE(silent.reason.find("to the end"), std::string::npos) << silent.reason;
}

TEST(ProgrammeSilent, PausesOfSpeechAndOneSideAloneAreNone) {
  for (unsigned seed = 1; seed <= 4; ++seed) {
    Samples left = voice(26, seed), right = voice(26, seed + 9);
    mute(left, 8, 20);
    for (Samples* x : {&left, &right}) synth::add_noise(*x, -90, seed);
    EXPECT_EQ(find_reading(readings_support::measure(rate, {left, right}), "audio.programme.silent"),
              nullptr);
  }
}
