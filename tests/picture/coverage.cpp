// Claimed uncertainties hold: over seeded trials the truth lies inside the k = 2 interval about 95 % of the
// time.
#include "support/coverage.hpp"

#include <gtest/gtest.h>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;

coverage::Trial trial_of(const Readings& r, const char* id, double truth) {
  const Reading* x = find_reading(r, id);
  if (x == nullptr || !x->measured()) throw std::runtime_error(std::string(id) + " was not measured");
  return {x->number(), x->uncertainty.value_or(0), truth};
}

// A place between 0 and 1 of its own for each trial.
double spread(unsigned seed, double factor) { return std::fmod(seed * factor, 1.0); }

// Bars with edges of their own sharpness: rms width 0.5 to 1.1 px, as grabbers' filters differ.
frame_synth::Line bars_with_edges(double width_px) {
  return [width_px](double x) {
    double v = frame_synth::bar_luma(0, 1, 0.75);
    for (int b = 1; b < 8; ++b)
      v += (frame_synth::bar_luma(b, 1, 0.75) - frame_synth::bar_luma(b - 1, 1, 0.75)) * 0.5 *
           (1 + std::erf((x - b * 90) / (std::numbers::sqrt2 * width_px)));
    return v;
  };
}

// A window whose edges ring, as a sharp low-pass leaves them: the integral of sin(w t) / (pi t).
frame_synth::Line ringing_window(double cut_hz) {
  std::vector<double> edge;  // 16 to a px, from -40 px
  const double w = 2 * std::numbers::pi * cut_hz / 13.5e6 / 16;
  double sum = 0;
  for (int i = -640; i <= 640; ++i) {
    sum += i == 0 ? w / std::numbers::pi : std::sin(w * i) / (std::numbers::pi * i);
    edge.push_back(sum);
  }
  return [edge](double x) {
    const auto at = [&](double d) {
      return edge[static_cast<std::size_t>(std::clamp(std::lround(16 * d) + 640, 0L, 1280L))] / edge.back();
    };
    return at(x - 180) - at(x - 540);
  };
}

TEST(PictureCoverage, HumLevelAndFrequency) {
  std::vector<coverage::Trial> hz;
  coverage::expect_coverage("picture.hum.level", 100, [&](unsigned seed) {
    Scene s;
    s.line = frame_synth::flat(0.4 + 0.2 * spread(seed, 0.618));
    s.noise = 3;
    s.hum_percent = 0.4 + 0.2 * spread(seed, 0.377);
    s.hum_hz = 49.5 + spread(seed, 0.141);
    s.hum_phase = 6 * spread(seed, 0.732);
    const Readings r = measure(s, 10, seed);
    hz.push_back(trial_of(r, "picture.hum.frequency", s.hum_hz));
    return trial_of(r, "picture.hum.level", s.hum_percent);
  });
  coverage::expect_coverage("picture.hum.frequency", 100, [&](unsigned seed) { return hz[seed - 1]; });
}

TEST(PictureCoverage, NoiseAndJitter) {
  std::vector<coverage::Trial> jitter;
  coverage::expect_coverage(
      "picture.noise", 80,
      [&](unsigned seed) {
        Scene s;
        s.noise = 1 + 2 * spread(seed, 0.618);
        s.noise_width = 0.5 * spread(seed, 0.271);  // half power at 4.5 MHz and above
        s.line = bars_with_edges(0.5 + 0.6 * spread(seed, 0.541));
        s.jitter = 0.05 + 0.25 * spread(seed, 0.377);
        const Readings r = measure(s, 6, seed);
        jitter.push_back(trial_of(r, "picture.jitter", s.jitter));
        s.jitter = 0;
        return trial_of(measure(s, 4, seed), "picture.noise", s.noise);
      },
      0.93, 1.0);  // a share for grabbers' other filters
  coverage::expect_coverage(
      "picture.jitter", 80, [&](unsigned seed) { return jitter[seed - 1]; }, 0.93, 1.0);
}

TEST(PictureCoverage, LevelsAndColour) {
  std::vector<coverage::Trial> black, saturation, hue;
  coverage::expect_coverage("picture.luma.gain", 80, [&](unsigned seed) {
    Scene s;
    s.coloured_bars = true;
    s.noise = 0;  // rounding to whole codes is what counts
    s.gain = 0.85 + 0.2 * spread(seed, 0.618);
    s.offset = 4 * spread(seed, 0.377);
    const double sent_saturation = 0.8 + 0.4 * spread(seed, 0.141);
    const double sent_hue = 20 * spread(seed, 0.732) - 10;
    // Sources keep their colours rounded to codes: by table, bars of 75 % [BT.601] turn by 0.2 degrees so.
    std::mt19937 random(seed);
    s.saturation = sent_saturation + std::normal_distribution<double>(0, 0.002)(random);
    s.hue_deg = sent_hue + std::normal_distribution<double>(0, 0.12)(random);
    const Readings r = measure(s, 2, seed);
    black.push_back(trial_of(r, "picture.luma.black", 16 + s.offset));
    saturation.push_back(trial_of(r, "picture.saturation", sent_saturation));
    hue.push_back(trial_of(r, "picture.hue", sent_hue));
    return trial_of(r, "picture.luma.gain", 100 * s.gain);
  });
  coverage::expect_coverage("picture.luma.black", 80, [&](unsigned seed) { return black[seed - 1]; });
  coverage::expect_coverage("picture.saturation", 80, [&](unsigned seed) { return saturation[seed - 1]; });
  coverage::expect_coverage("picture.hue", 80, [&](unsigned seed) { return hue[seed - 1]; });
}

TEST(PictureCoverage, Echo) {
  std::vector<coverage::Trial> level;
  coverage::expect_coverage("picture.echo.delay", 80, [&](unsigned seed) {
    Scene s;
    s.line = seed % 3 == 0   ? ringing_window(4.8e6 + 1e6 * spread(seed, 0.541))
             : seed % 3 == 1 ? frame_synth::window()
                             : bars_with_edges(0.45 + 0.65 * spread(seed, 0.541));
    s.noise = 3;
    s.gain = 0.9;
    s.offset = 4;
    s.echo_px = 9 + 50 * spread(seed, 0.618);
    s.echo_gain = 0.02 + 0.04 * spread(seed, 0.377);
    const Readings r = measure(s, 3, seed);
    level.push_back(trial_of(r, "picture.echo.level", 20 * std::log10(s.echo_gain)));
    return trial_of(r, "picture.echo.delay", s.echo_px / 13.5 * 1000);
  });
  coverage::expect_coverage("picture.echo.level", 80, [&](unsigned seed) { return level[seed - 1]; });
}

TEST(PictureCoverage, Roll) {
  coverage::expect_coverage("picture.roll", 60, [&](unsigned seed) {
    Scene s;
    s.noise = 2;
    s.picture = frame_synth::landscape;
    s.roll = 8 * spread(seed, 0.618) - 4;
    // Rows are scanned one after another, so a place is seen where it has got to meanwhile.
    s.roll_scanned = seed % 2 == 0;
    const double seen = s.roll_scanned ? s.roll / (1 - s.roll * 25 * 64e-6 / 2) : s.roll;
    return trial_of(measure(s, 8, seed), "picture.roll", seen);
  });
}

// So slow that the picture stays between two lines for long.
TEST(PictureCoverage, SlowRoll) {
  coverage::expect_coverage("picture.roll", 40, [&](unsigned seed) {
    Scene s;
    s.noise = 1 + spread(seed, 0.271);
    s.picture = frame_synth::landscape;
    s.roll = 0.3 * spread(seed, 0.618) - 0.15;
    return trial_of(measure(s, 40, seed), "picture.roll", s.roll);
  });
}

}  // namespace
