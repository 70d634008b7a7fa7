// The subcarrier of sources that are off their standard's frequency, or that jump. Waveforms in closed form
// by the tables of SMPTE ST 170M and ITU-R BT.470 (support/video_synth.hpp).
#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

// Burst phases two lines apart leave multiples of half the line rate open: 3.9 kHz either way, 900 ppm of the
// subcarrier. Camera and clock together may be further off; or the line rate alone, beside a crystal.
TEST(VideoSubcarrier, IsFoundFarFromNominal) {
  for (const bool is_625 : {true, false}) {
    for (const double ppm : {-3000.0, -1470.0, 950.0, 2500.0}) {
      for (const bool crystal : {false, true}) {
        Wave w = with_bars(is_625 ? wave_625() : wave_525());
        w.noise_mv = 3;
        if (crystal) {
          w.line_hz *= 1 + ppm * 1e-6;
        } else {
          w.clock_ppm = ppm;
        }
        const Readings r = measured(w, 16e6, 0.06);
        expect_near(r, "video.burst.amplitude", w.burst_pp_mv, 0.01 * w.burst_pp_mv);
        const double hz = w.subcarrier_hz * (crystal ? 1 : 1 + ppm * 1e-6);
        expect_near(r, "video.burst.frequency", hz, 3);
        EXPECT_TRUE(get(r, "video.bars.red.chroma").measured()) << ppm;
      }
    }
  }
}

// A source that drops a line in each field turns its V switch about and jumps by a quarter of a cycle.
TEST(VideoSubcarrier, JumpsLoseNoAmplitude) {
  constexpr double rate = 20e6;
  constexpr std::size_t line = 1280;  // samples, 64 us
  Wave w = with_bars(wave_625());
  w.noise_mv = 3;
  w.start_line = 24;
  const std::vector<float> whole = make(w, rate, 0.24);
  std::vector<float> cut;
  for (std::size_t at = 0; at < whole.size(); at += 312 * line)
    cut.insert(cut.end(), whole.begin() + static_cast<std::ptrdiff_t>(at),
               whole.begin() + static_cast<std::ptrdiff_t>(std::min(whole.size(), at + 311 * line)));
  const Readings r = measured(rate, std::move(cut));
  EXPECT_NEAR(get(r, "video.burst.amplitude").number(), 300, 0.03 * 300);
  EXPECT_NEAR(get(r, "video.bars.red.chroma").number(), 664, 0.03 * 664);
}

// Colour without a burst is colour still, not a tone that came in.
TEST(VideoSubcarrier, WithoutBurstIsNoPeriodicNoise) {
  for (const bool is_625 : {true, false}) {
    Wave w = is_625 ? wave_625() : wave_525();
    w.burst_pp_mv = 0;
    w.noise_mv = 3;
    for (const double mv : {140.0, 280.0}) {
      const video_lines::Line stairs = video_lines::stairs(11.4, 60.5, 5, 700, mv, 0.25);
      std::vector<float> x = make(w, 17.73e6, 0.1);
      video_lines::add(x, w, 17.73e6, [&](int n) { return has_picture(w, n) ? &stairs : nullptr; });
      expect_none(measured(17.73e6, std::move(x)), "video.noise.periodic.level");
    }
  }
}

}  // namespace
