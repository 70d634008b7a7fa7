// What a converter at its end and a wrong scale spoil is not given as a number; the rest is.
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

std::vector<float> bars_with_noise(double noise_mv) {
  Wave w = wave_625();
  w.picture = bars(w, 700, 1.0, 0.75, 0);
  w.noise_mv = noise_mv;
  return make(w, 13.5e6, 0.08);
}
std::vector<float> held_between(std::vector<float> v, float low, float high) {
  for (float& x : v) x = std::clamp(x, low, high);
  return v;
}

TEST(VideoSamples, ClippedSyncIsNoSyncLevel) {
  const Readings r = measured(13.5e6, held_between(bars_with_noise(5), -0.25F, 2.0F));
  for (const char* id : {"video.sync.amplitude", "video.gain", "video.termination"}) expect_none(r, id);
  // Neither a gain nor a cable is named where it is the converter.
  for (const char* id : {"video.sync.amplitude", "video.termination", "video.cable.loss",
                         "video.cable.length", "video.echo.delay"}) {
    expect_none(r, id);
    EXPECT_NE(get(r, id).reason.find("clipped sync"), std::string::npos) << id << ": " << get(r, id).reason;
  }
  expect_near(r, "video.white", 700, 7);
  expect_near(r, "video.line.frequency", 15625, 0.1);
}

TEST(VideoSamples, ClippedPictureIsNoWhite) {
  const Readings r = measured(13.5e6, held_between(bars_with_noise(5), -2.0F, 0.5F));
  for (const char* id : {"video.white", "video.bars.white.luma", "video.noise"}) expect_none(r, id);
  expect_near(r, "video.sync.amplitude", 300, 3);
}

TEST(VideoSamples, SignalsWithoutNoiseAndCoarseStepsAreNotClipped) {
  for (const double noise_mv : {0.0, 2.0, 12.0}) {
    for (const double step_v : {0.0, 0.008}) {
      std::vector<float> v = bars_with_noise(noise_mv);
      for (float& x : v) {
        if (step_v > 0) x = static_cast<float>(step_v * std::round(static_cast<double>(x) / step_v));
      }
      const Readings r = measured(13.5e6, std::move(v));
      // Steps without noise to spread them are as wrong as half a step at either level, and say so.
      const double coarse = std::max(3.0, step_v * 1e3);
      expect_near(r, "video.sync.amplitude", 300, coarse);
      expect_near(r, "video.white", 700, coarse);
    }
  }
}

TEST(VideoSamples, AnImpossibleScaleGivesNoLevels) {
  for (const float factor : {0.02F, 10.0F}) {
    std::vector<float> v = bars_with_noise(5);
    for (float& x : v) x *= factor;
    const Readings r = measured(13.5e6, std::move(v));
    for (const char* id : {"video.sync.amplitude", "video.white", "video.bars.red.luma", "video.gain"})
      expect_none(r, id);
    for (const char* id : {"video.white", "video.termination"})
      EXPECT_NE(get(r, id).reason.find("volts per count"), std::string::npos) << id;
    expect_near(r, "video.sync.width", 4.7, 0.03);
  }
}

TEST(VideoSamples, ColourFoldedDownIsNoNoise) {
  Wave w = wave_625();
  w.picture = bars(w, 700, 1.0, 0.75, 0);
  w.noise_mv = 5;
  const Readings r = measured(w, 6e6, 0.1);
  for (const char* id : {"video.noise", "video.snr.unweighted", "video.noise.tone.level"}) {
    if (find_reading(r, id) != nullptr) expect_none(r, id);
  }
  expect_none(r, "video.noise");
  EXPECT_NE(get(r, "video.noise").reason.find("folds down"), std::string::npos);
}

TEST(VideoSamples, ColourAtTheRecordersLimitIsClaimedNoBetterThanItIs) {
  // A recorder's steep filter: nothing above 4.95 MHz, at 10 MS/s, of samples in closed form.
  Wave w = with_bars(wave_625());
  std::vector<float> v = clean(w, 30e6, 0.06);
  filter(v, 30e6, [](double f) { return std::complex<double>(f < 4.95e6 ? 1 : 0); });
  std::vector<float> third;
  for (std::size_t i = 0; i < v.size(); i += 3) third.push_back(v[i]);
  add_noise(third, 2, 5);
  const Readings r = measured(10e6, std::move(third));
  const Reading& burst = get(r, "video.burst.amplitude");
  ASSERT_TRUE(burst.measured());
  EXPECT_NEAR(burst.number(), 300, *burst.uncertainty);
  EXPECT_GT(*burst.uncertainty, 3);
  expect_none(r, "video.noise");
}

}  // namespace
