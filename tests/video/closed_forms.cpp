// Pictures whose distortion is put in by formula, made of many small steps: what a reading owes to the ends
// of a slope, and what noise must not take away.
#include "measuring.hpp"

namespace {

using namespace video_test;
using video_synth::Piece;
using video_synth::wave_525;
using video_synth::wave_625;

video_synth::Picture line_of(const std::function<Piece(double us)>& at, double from, double to) {
  std::vector<Piece> line{{0, 0}};
  for (double t = from; t <= to; t += 0.2) line.push_back(at(t));
  line.push_back({to + 0.2, 0});
  return [line](int) { return line; };
}

// Subcarrier that grows from black to white by 10 % in proportion: DG is 100 (max / min - 1) = 10 %.
TEST(VideoClosedForms, DifferentialGainOfARampReachesItsEnds) {
  for (const bool is_525 : {false, true}) {
    for (const double share : {0.1, -0.06}) {
      video_synth::Wave w = is_525 ? wave_525() : wave_625();
      const double white = is_525 ? 5000.0 / 7 : 700;
      const double from = w.active_from_us + 1;
      const double to = 1e6 / w.line_hz - w.front_porch_us - 1;
      w.picture = line_of(
          [&](double t) {
            const double x = std::clamp((t - from) / (to - from), 0.0, 1.0);
            return Piece{t, white * x, -0.2 * white * (1 + share * x), 0};
          },
          w.active_from_us + 0.3, to + 0.5);
      w.noise_mv = 3;
      const Readings r = measured(w, 27e6, 0.1);
      std::printf("  %s, %+.0f %%\n", is_525 ? "525" : "625", 100 * share);
      expect_near(r, "video.differential_gain",
                  100 * (std::max(1.0, 1 + share) / std::min(1.0, 1 + share) - 1), 0.4);
    }
  }
}

// A bar whose top rises by 3 % over all but its outermost microseconds.
TEST(VideoClosedForms, LineTiltOfASlopeReachesItsEnds) {
  for (const double tilt : {0.03, -0.02}) {
    for (const double rate : {13.5e6, 27e6}) {
      video_synth::Wave w = wave_625();
      w.picture = line_of([&](double t) { return Piece{t, 700 * (1 + tilt * (t - 24) / 20)}; }, 13, 34.9);
      w.noise_mv = 3;
      expect_near(measured(w, rate, 0.12), "video.line_tilt", 100 * std::abs(tilt), 0.06);
    }
  }
}

// At 20 dB single edges move by a good part of the subcarrier's cycle; their mean does not.
TEST(VideoClosedForms, PhaseOfTheSubcarrierInNoise) {
  for (const bool is_525 : {false, true}) {
    for (const double degrees : {0.0, 35.0, -60.0}) {
      video_synth::Wave w = with_white(is_525 ? wave_525() : wave_625());
      w.sc_h_deg = degrees;
      w.noise_mv = 70;
      expect_near(measured(w, 27e6, 0.2), "video.sc_h", degrees, 8);
    }
  }
  video_synth::Wave locked = with_white(wave_525());
  locked.sc_h_deg = 12;
  cover(video_synth::clean(locked, 14e6, 0.12), 14e6, 20, {{"video.sc_h", 12}},
        [](std::vector<float>& v, unsigned seed) { video_synth::add_noise(v, 70, seed); });
  // A source whose subcarrier runs on its own has none.
  video_synth::Wave w = with_white(wave_625());
  w.subcarrier_hz += 20;
  w.noise_mv = 7;
  expect_none(measured(w, 27e6, 0.2), "video.sc_h");
}

}  // namespace
