// Calibrations: arithmetic against worked figures, and that what is stored comes back and damage is said.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/capture/calibration.hpp>
#include <linebench/capture/digital_copy.hpp>

#include "support/synth.hpp"
#include "temp_folder.hpp"

namespace {

using namespace linebench;
using namespace linebench::capture;

class Store : public testing::Test {
 protected:
  void SetUp() override { setenv("LINEBENCH_HOME", folder_.path().c_str(), 1); }
  void TearDown() override { unsetenv("LINEBENCH_HOME"); }
  TempFolder folder_;
};

Calibration example() {
  Calibration c;
  c.device = "ALSA: Counter card (hw:1,0)";
  c.sample_rate_hz = 48000;
  c.loop = {{{{20, 1000, 20000}, {-0.1, 0.0, -0.25}, "Hz", "dB", {0.02, 0.01, 0.02}}, 0.0123},
            {{{20, 1000, 20000}, {-0.2, -0.1, -0.3}, "Hz", "dB"}, 0.0124}};
  c.loop_output = c.device;
  c.loop_at = "2026-03-01T10:00:00Z";
  c.noise_dbfs = {-98.5, -97.25};
  c.noise_at = "2026-03-01T10:01:00Z";
  c.clock_error_ppm = -12.5;
  c.clock_uncertainty_ppm = 0.5;
  c.clock_at = "2026-03-02T10:00:00Z";
  c.full_scale_v = 2.1;
  c.output_full_scale_v = 1.9;
  c.volts_at = "2026-02-01T10:00:00Z";
  c.notes = {"Input gain at its mark."};
  return c;
}

TEST(CalibrationArithmetic, FullScaleInVolts) {
  // Worked by hand: 0 dBu = 0.7746 V rms; lined up at -18 dBFS, full scale is +18 dBu = 6.153 V rms = 8.701 V
  // peak.
  EXPECT_NEAR(full_scale_volts(0.774597, -18), 8.7014, 5e-4);
  EXPECT_NEAR(full_scale_volts(1.0, 0), std::sqrt(2.0), 1e-12);
  EXPECT_THROW((void)full_scale_volts(0, -18), Error);
  EXPECT_THROW((void)full_scale_volts(-1, -18), Error);
  EXPECT_THROW((void)full_scale_volts(std::nan(""), -18), Error);
  EXPECT_THROW((void)full_scale_volts(1, std::nan("")), Error);
  EXPECT_THROW((void)full_scale_volts(1, 6), Error);
  EXPECT_THROW((void)full_scale_volts(1, -120), Error);
}

TEST(CalibrationArithmetic, ClockErrorSign) {
  // A recorder 100 ppm fast takes 48004.8 samples of a true second; labelled 48000 Hz, 1000 Hz looks like
  // 999.9 Hz.
  EXPECT_NEAR(clock_error_ppm(1000.0, 1000.0 * 48000.0 / 48004.8), 100.0, 1e-6);
  EXPECT_LT(clock_error_ppm(1000.0, 1000.1), 0);
}

TEST_F(Store, ComesBackWhole) {
  const Calibration c = example();
  const auto path = store_calibration(c);
  EXPECT_TRUE(std::filesystem::exists(path));
  const auto back = find_calibration(c.device, 48000);
  ASSERT_TRUE(back);
  EXPECT_EQ(back->device, c.device);
  ASSERT_EQ(back->loop.size(), 2U);
  EXPECT_EQ(back->loop[0].gain.y, c.loop[0].gain.y);
  EXPECT_EQ(back->loop[0].gain.uncertainty, c.loop[0].gain.uncertainty);
  EXPECT_EQ(back->loop[1].delay_s, c.loop[1].delay_s);
  EXPECT_EQ(back->noise_dbfs, c.noise_dbfs);
  EXPECT_EQ(back->clock_error_ppm, c.clock_error_ppm);
  EXPECT_EQ(back->clock_uncertainty_ppm, c.clock_uncertainty_ppm);
  EXPECT_EQ(back->full_scale_v, c.full_scale_v);
  EXPECT_EQ(back->output_full_scale_v, c.output_full_scale_v);
  EXPECT_EQ(back->notes, c.notes);
  EXPECT_EQ(back->name(), "ALSA: Counter card (hw:1,0) at 48000 Hz, 2026-03-02");
  EXPECT_FALSE(find_calibration(c.device, 44100));
  EXPECT_FALSE(find_calibration("ALSA: Counter card (hw:1.0)", 48000))
      << "another device whose slug is the same";
}

TEST_F(Store, IsNamedInTheFacts) {
  CaptureFacts facts;
  apply_calibration(facts, example());
  EXPECT_EQ(facts.calibration, "ALSA: Counter card (hw:1,0) at 48000 Hz, 2026-03-02");
  EXPECT_EQ(facts.full_scale_v, 2.1);
  EXPECT_EQ(facts.clock_error_ppm, -12.5);
  EXPECT_EQ(facts.clock_uncertainty_ppm, example().clock_uncertainty_ppm);
}

TEST_F(Store, ListAndRemove) {
  Calibration c = example();
  store_calibration(c);
  c.sample_rate_hz = 44100;
  store_calibration(c);
  c.device = "JACK: system";
  store_calibration(c);
  ASSERT_EQ(list_calibrations().calibrations.size(), 3U);
  EXPECT_EQ(list_calibrations().calibrations.front().sample_rate_hz, 44100);
  EXPECT_EQ(remove_calibrations("JACK: system", 48000), 0);
  EXPECT_EQ(remove_calibrations("ALSA: Counter card (hw:1,0)", 0), 2);
  EXPECT_EQ(list_calibrations().calibrations.size(), 1U);
}

TEST_F(Store, DamageIsSaidWithTheFile) {
  const auto path = store_calibration(example());
  for (const char* text : {"", "{", "[]", R"({"schema": "linebench-calibration/9"})",
                           R"({"schema": "linebench-calibration/1", "device": 5})",
                           R"({"schema": "linebench-calibration/1", "device": "a", "sample_rate": 48000,
                               "loop": {"at": "", "output": "", "channels": [{"gain": {"x": [1], "y": [1, 2],
                               "x_unit": "Hz", "y_unit": "dB"}, "delay": 0}]}})"}) {
    std::ofstream(path) << text;
    try {
      (void)find_calibration(example().device, 48000);
      FAIL() << text;
    } catch (const Error& e) {
      EXPECT_EQ(e.exit(), Exit::Unusable);
      EXPECT_NE(std::string(e.what()).find(path.filename().string()), std::string::npos) << e.what();
    }
    EXPECT_EQ(list_calibrations().problems.size(), 1U);
  }
}

TEST(DigitalCopy, OnlyWhatIsBitExactCounts) {
  synth::Samples x(48000);
  synth::add_noise(x, -20, 3);
  synth::Samples late(3000, 0.0F);
  late.insert(late.end(), x.begin(), x.end());
  const auto check = [&](synth::Samples returned) {
    synth::MemorySource sent(48000, {x});
    synth::MemorySource back(48000, {std::move(returned)});
    return is_digital_copy(sent, back);
  };
  EXPECT_TRUE(check(late));
  synth::Samples noisy = late;
  synth::add_noise(noisy, -110, 4);
  EXPECT_FALSE(check(noisy)) << "a very good card's noise";
  synth::Samples weaker = late;
  for (float& v : weaker) v *= 0.999F;
  EXPECT_FALSE(check(weaker));
  EXPECT_FALSE(check(synth::Samples(48000)));
  synth::MemorySource silence(48000, {synth::Samples(48000)});
  synth::MemorySource silence2(48000, {synth::Samples(48000)});
  EXPECT_FALSE(is_digital_copy(silence, silence2)) << "silence proves nothing";
}

}  // namespace
