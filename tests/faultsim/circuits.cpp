// The simulator's circuits against closed forms of the handbooks: it scores the diagnosis, so it must be
// right itself.
#include <gtest/gtest.h>

#include <algorithm>
#include <linebench/faultsim/captures.hpp>
#include <linebench/faultsim/installation.hpp>
#include <numbers>

namespace {

using namespace linebench::faultsim;

// A large capacitor charged by short pulses discharges by I/(2 f C) between them: a sawtooth of that peak to
// peak and, at twice the mains, the fundamental pp/(pi sqrt 2) rms (textbook: full-wave rectifier with
// smoothing capacitor).
TEST(FaultCircuits, RippleOfASmoothingCapacitorIsTheTextbooks) {
  const double amps = 0.4;
  const double farad = 4700e-6;
  const Comb r = rectifier_ripple(50, 17, 0.05, farad, amps);
  const double pp = amps / (2 * 50 * farad);
  EXPECT_NEAR(r[2], pp / (std::numbers::pi * std::numbers::sqrt2), 0.12 * pp);
  EXPECT_LT(r[1],
            0.2 * r[2]);  // little at the mains itself: the bridge's halves differ by three in a thousand
  EXPECT_LT(r[3], 0.1 * r[2]);
  EXPECT_NEAR(r[4] / r[2], 0.5, 0.12);  // a sawtooth's multiples fall as 1/n
  EXPECT_NEAR(r[0], 17, 1);
}

// Cut at 90 degrees: rms is 1/sqrt 2 of the whole sine's; the fundamental's parts are 1/2 and 1/pi of the
// peak, so its rms is sqrt(1/4 + 1/pi^2) of the uncut one (Fourier integral of the cut sine).
TEST(FaultCircuits, PhaseCutMainsHasItsFourierSeries) {
  const Comb c = phase_cut(std::numbers::pi / 2);
  double sum = 0;
  for (int n = 1; n <= harmonics; ++n) sum += c[static_cast<std::size_t>(n)] * c[static_cast<std::size_t>(n)];
  EXPECT_NEAR(sum, 0.5, 0.01);
  EXPECT_NEAR(c[1], std::sqrt(0.25 + 1 / (std::numbers::pi * std::numbers::pi)), 0.003);
  EXPECT_NEAR(c[3], 1 / std::numbers::pi, 0.003);  // the third of a sine cut at 90 degrees
  EXPECT_LT(c[2], 0.003);
  // Uncut, it is the sine.
  EXPECT_NEAR(phase_cut(0)[1], 1, 0.002);
  EXPECT_LT(phase_cut(0)[3], 0.002);
}

// A source of R over a load of 10 kohm with the capacitance C of a short pair is a first-order low-pass at
// 1/(2 pi R C).
TEST(FaultCircuits, PairIsARcLowPass) {
  const double ohm = 600;
  const double farad = 100e-9;
  const double corner = 1 / (2 * std::numbers::pi * ohm * 10000 / (ohm + 10000) * farad);
  EXPECT_NEAR(pair_gain_db(ohm, 1e-3, farad, corner) - pair_gain_db(ohm, 1e-3, farad, 1), -3.01, 0.02);
  EXPECT_NEAR(pair_gain_db(ohm, 0.001, 1e-15, 1000), db(10000 / 10600.0), 0.01);
}

TEST(FaultCircuits, CableSlowsAnEdgeMoreTheMoreItLoses) {
  EXPECT_NEAR(rise_behind_cable(0), 140, 4);  // no cable: the edge as it was sent
  double last = 0;
  for (const double loss : {0.5, 2.0, 5.0, 10.0}) {
    const double rise = rise_behind_cable(loss);
    EXPECT_GT(rise, last);
    last = rise;
  }
}

// tanh x = x - x^3/3 + ..., and sin^3 a = (3 sin a - sin 3a)/4: a^2/12 for small drive; a square wave has 1/3
// [Abramowitz and Stegun 4.5.64 and the Fourier series].
TEST(FaultCircuits, AStageBentAsATangentMakesItsThirdHarmonic) {
  for (const double a : {0.05, 0.1, 0.2}) EXPECT_NEAR(bent_third(a) / (a * a / 12), 1, 0.02) << a;
  EXPECT_NEAR(bent_third(400), 1.0 / 3, 0.005);
}

TEST(FaultCircuits, EveryFaultLeavesItsMarkAndTheSameSeedTheSameJob) {
  for (const std::string& fault : fault_names()) {
    Dice a(5);
    Dice b(5);
    Installation one = sound_installation(a);
    Installation two = sound_installation(b);
    const Installation sound = one;
    put_fault(one, fault, a);
    put_fault(two, fault, b);
    EXPECT_EQ(one.answers, two.answers) << fault;
    EXPECT_EQ(one.video.hum_mv, two.video.hum_mv) << fault;
    EXPECT_EQ(one.lines[0].gain_db, two.lines[0].gain_db) << fault;
    EXPECT_EQ(one.faults, std::vector<std::string>{fault});
    const bool marked = !one.answers.empty() || one.lines[0].hum != sound.lines[0].hum ||
                        one.field_hz != sound.field_hz || one.video.gain_db != sound.video.gain_db ||
                        one.video.tone_mv != sound.video.tone_mv;
    EXPECT_TRUE(marked) << fault;
  }
}

// A cable is linear and does not change with time: what rests on sync stays where it rests, wherever the
// simulator's blocks meet.
TEST(FaultCircuits, ACableMakesNoSpikes) {
  Dice d(6);
  Installation s = sound_installation(d);
  s.video.hum_mv = {};
  s.video.noise_mv = s.video.tone_mv = s.video.jitter_ns = 0;
  s.video.loss_db = 0.8;
  s.video.echo = 0.1;
  s.video.echo_s = 0.4137e-6;  // between two samples
  const CompositeTake take = record_waveform(s, 1, 0.1);
  const auto tip = *std::min_element(take.volts.begin(), take.volts.end());
  // The third and fourth microsecond of each line sync are flat; equalising pulses are over by then.
  const double us = take.rate_hz * 1e-6;
  std::size_t syncs = 0;
  int run = 0;
  float worst = 0;
  for (std::size_t n = 0; n < take.volts.size(); ++n) {
    run = take.volts[n] < 0.75F * tip ? run + 1 : 0;
    syncs += run == static_cast<int>(3 * us) ? 1 : 0;
    if (run > 2.8 * us && run < 4 * us) worst = std::max(worst, std::abs(take.volts[n] - take.volts[n - 1]));
  }
  EXPECT_GT(syncs, 1500U);
  EXPECT_LT(worst, 0.004F);
}

}  // namespace
