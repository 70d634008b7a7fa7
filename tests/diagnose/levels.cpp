// Faults of level: hiss, harmonics and silence have more causes than a supply.
#include "job.hpp"

namespace {

using namespace diagnose_test;
using synth::Samples;

// 27 dB of signal to noise: a chain that sends -40 dBu and makes 40 dB up again hisses so. A supply's whine
// is a tone, and its hiss hardly that loud.
TEST(DiagnoseLevels, HissIsAMatterOfGainBeforeItIsTheSupplys) {
  Samples x = quiet(20, 10, -45);
  synth::add_sine(x, rate, 997, -18);
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_EQ(first(d), "gain-structure") << shown(d);
  EXPECT_LT(probability(d, "supply-switching"), 0.2) << shown(d);
  EXPECT_LT(probability(d, "gain-structure"), 0.95) << "one reading alone: " << shown(d);
}

TEST(DiagnoseLevels, HarmonicsAloneAreNotTheSupplyForCertain) {
  Samples x = tone(20, 11);
  synth::add_sine(x, rate, 2 * 997, -18 - 26);  // 5 %
  synth::add_sine(x, rate, 3 * 997, -18 - 30);  // 3 %
  const Diagnosis d = diagnosed({measured({x})});
  EXPECT_FALSE(shown_sound(d));
  EXPECT_LT(probability(d, "supply-sagging"), 0.6) << shown(d);
  EXPECT_GT(probability(d, "stage-overdriven"), 0.2) << shown(d);
  // The level that falls with it, and the plug's volts, say which.
  const auto with = [&](const char* typed) {
    return diagnose::diagnose(
        book(), Job{{measured({x})}, parse_observed(std::vector<std::string>{typed}, book()), {}});
  };
  EXPECT_EQ(first(with("supply-loaded=9 V of 12")), "supply-sagging");
  EXPECT_EQ(first(with("level-chain=too high somewhere")), "stage-overdriven");
}

// What supplies switch at lies below broadcasting, which begins near 0.5 MHz [ITU Radio Regulations, article
// 5].
TEST(DiagnoseLevels, ACarrierIsNoSwitchingSupply) {
  const auto with_tone = [](double hz) {
    Readings r = bars_625();
    r.push_back(number("video.noise.periodic.level", 20, 1));
    r.push_back(number("video.noise.periodic.frequency", hz, 50));
    r.push_back(number("video.noise.periodic.from", 35e3, 0));
    return diagnosed({of_readings(std::move(r))});
  };
  for (const double hz : {1.0e6, 2.7e6}) {
    EXPECT_EQ(first(with_tone(hz)), "radio-pickup") << shown(with_tone(hz));
    EXPECT_LT(probability(with_tone(hz), "supply-switching"), 0.3) << shown(with_tone(hz));
  }
  EXPECT_EQ(first(with_tone(87e3)), "supply-switching") << shown(with_tone(87e3));
}

// A unit without supply, muted or on another input passes nothing: what is left is noise.
TEST(DiagnoseLevels, ASilentUnitIsLookedAtFirst) {
  const std::vector<Capture> silent = {
      measured({quiet(20, 3, -88), quiet(20, 4, -88)}, "lines.wav", "tone-1k", 8.7)};
  const Diagnosis d = diagnosed(silent, {.system = "", .sides = "two"});
  EXPECT_EQ(first(d), "unit-off") << shown(d);
  EXPECT_LT(probability(d, "supply-sagging"), 0.1) << shown(d);
  ASSERT_TRUE(d.next_test);
  EXPECT_TRUE(d.next_test->id == "unit-look" || d.next_test->id == "port-light") << d.next_test->id;
  // Behind a cable alone it is none.
  const auto e = gather(book(), silent, {.system = "", .sides = "two"});
  Options cable;
  cable.barred = {"unit"};
  EXPECT_NE(first(diagnose::diagnose(book(), e, cable)), "unit-off");
}

// -10 dBV, 0.316 V rms, is 7.8 dB under 0 dBu (0.775 V).
TEST(DiagnoseLevels, AConsumersToneIsASettingBeforeItIsALongCable) {
  const double full_scale_v = 5.5;
  Samples x = quiet(20, 5, -90);
  synth::add_sine(x, rate, 997, 20 * std::log10(0.316 * std::sqrt(2.0) / full_scale_v));
  const Diagnosis d = diagnosed({measured({x}, "cons.wav", "", full_scale_v)});
  EXPECT_EQ(first(d), "level-consumer-into-professional") << shown(d);
}

}  // namespace
