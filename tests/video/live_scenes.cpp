// What a camera looks at is no test picture, and its texture is no noise. Scenes made with numpy: random
// fields whose amplitude falls with a power of spatial frequency, as natural scenes' does (Field, J. Opt.
// Soc. Am. A 4, 1987: near 1/f), from memory; and a wall of one colour, lit from one side.
#include <linebench/base/error.hpp>

#include "support/python.hpp"
#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;

constexpr int rows = 640;
constexpr int columns = 720;

constexpr const char* random_fields = R"py(
import sys, numpy as np
path, seed, power = sys.argv[1], int(sys.argv[2]), float(sys.argv[3])
h, w = 640, 720
k = np.hypot(np.fft.fftfreq(h)[:, None], np.fft.fftfreq(w)[None]); k[0, 0] = 1
out = []
for n in range(3):
    f = np.fft.fft2(np.random.default_rng(seed + 1000 * n).standard_normal((h, w)))
    g = np.real(np.fft.ifft2(f / k**power))
    out.append((g - g.min()) / (g.max() - g.min()))
np.array(out, '<f4').tofile(path)
)py";

/// Lines of a still picture: luminance up to 0.9 of white, and soft colour.
std::vector<video_lines::Line> scene(const Wave& w, int seed, double power) {
  const testing_support::TempDir dir;
  run_python(random_fields, {dir / "fields", std::to_string(seed), std::to_string(power)});
  const std::string bytes = testing_support::read_text(dir / "fields");
  const auto fields = std::make_shared<std::vector<float>>(bytes.size() / sizeof(float));
  std::memcpy(fields->data(), bytes.data(), bytes.size());
  if (fields->size() != 3UL * rows * columns) throw std::runtime_error("the scene is not whole");
  const double white = w.lines == 625 ? 700 : 5000.0 / 7;
  const double from = w.active_from_us;
  const double to = 1e6 / w.line_hz - w.front_porch_us;
  std::vector<video_lines::Line> out;
  for (int line = 0; line <= w.lines; ++line) {
    const bool second = line > w.lines / 2;
    const int row = (2 * (line - (second ? w.lines / 2 : 0)) + (second ? 1 : 0)) % rows;
    out.emplace_back([=](double t, video_lines::Point& p) {
      const double x = std::clamp((t - from) / (to - from), 0.0, 1.0) * (columns - 1.001);
      const auto i = static_cast<std::size_t>(x);
      const double part = x - static_cast<double>(i);
      const double on = video_lines::bar(t, from, to, 0.3);
      const auto value = [&](int field) {
        const float* at = fields->data() + (static_cast<std::size_t>(field) * rows + row) * columns + i;
        return static_cast<double>(at[0]) + part * static_cast<double>(at[1] - at[0]);
      };
      p.y += on * 0.9 * white * value(0);
      p.u += on * 150 * (value(1) - 0.5);
      p.v += on * 150 * (value(2) - 0.5);
    });
  }
  return out;
}

/// @param sawtooth_pp mV of a supply's sawtooth of 87 311.7 Hz
Readings look_at(const Wave& w, const std::vector<video_lines::Line>& lines, double rate, double seconds,
                 double sawtooth_pp = 0) {
  std::vector<float> x = make(w, rate, seconds);
  for (std::size_t i = 0; i < x.size(); ++i)
    x[i] += static_cast<float>(1e-3 * sawtooth_pp *
                               (std::fmod(87'311.7 / rate * static_cast<double>(i), 1.0) - 0.5));
  video_lines::add(x, w, rate, [&](int n) {
    return has_picture(w, n) ? &lines[static_cast<std::size_t>(n) % lines.size()] : nullptr;
  });
  return measured(rate, std::move(x));
}

TEST(VideoLiveScenes, AreNoTestPicture) {
  for (const auto& [is_625, seed, power, rate] : {std::tuple{true, 0, 1.6, 13.5e6},
                                                  {true, 5, 1.6, 17.73e6},
                                                  {false, 20, 1.6, 13.5e6},
                                                  {true, 7, 2.4, 13.5e6},
                                                  {false, 3, 1.4, 20e6}}) {
    Wave w = is_625 ? wave_625() : wave_525();
    w.noise_mv = 2.5;
    w.start_line = 57.7;
    const Readings r = look_at(w, scene(w, seed, power), rate, 0.12);
    EXPECT_EQ(get(r, "video.pattern").text(), "none") << seed;
    for (const char* id : {"video.nonlinearity", "video.differential_gain", "video.differential_phase",
                           "video.k2t", "video.bars.red.chroma"})
      expect_none(r, id);
  }
}

// The colour of a wall goes with its light; the subcarrier of a ramp does not.
TEST(VideoLiveScenes, ShadedColourIsNoRamp) {
  Wave w = wave_625();
  w.noise_mv = 2;
  const video_lines::Line wall = [](double t, video_lines::Point& p) {
    const double light = (60 + 9 * (t - 10.5)) * video_lines::bar(t, 10.5, 62.5, 0.3);
    p.y += light;
    p.u += 0.2 * light;
    p.v -= 0.3 * light;
  };
  expect_none(look_at(w, {wall}, 13.5e6, 0.1), "video.differential_gain");
  const video_lines::Line ramp = [](double t, video_lines::Point& p) {
    p.y += (60 + 9 * (t - 10.5)) * video_lines::bar(t, 10.5, 62.5, 0.3);
    p.u -= 140 * video_lines::bar(t, 10.5, 62.5, 0.4);
    p.v_fixed = true;
  };
  expect_near(look_at(w, {ramp}, 13.5e6, 0.1), "video.differential_gain", 0, 0.5);
}

// Gravel, foliage: every part of it differs from the next as noise does, but comes again with the next frame.
TEST(VideoLiveScenes, TextureIsNotNoise) {
  for (const auto& [seed, power, rate] : {std::tuple{900, 1.1, 13.5e6},
                                          {903, 1.1, 20e6},
                                          {902, 1.4, 13.5e6},
                                          {905, 1.4, 20e6},
                                          {904, 1.0, 13.5e6}}) {
    Wave w = wave_625();
    w.noise_mv = 2.5;
    w.start_line = 57.7;
    const Readings r = look_at(w, scene(w, seed, power), rate, 0.1);
    const Reading noise = get(r, "video.noise");
    if (!noise.measured()) continue;
    const double truth = w.noise_mv * std::sqrt(5e6 / (rate / 2));
    // What was taken out was power that stood there beside the noise.
    if (const Reading* again = find_reading(r, "video.noise.repeated");
        again != nullptr && again->measured()) {
      EXPECT_GT(again->number(), 0);
      EXPECT_LT(again->number(), 100);
    }
    std::printf("    %d %.1f: %.2f +- %.2f mV, %.2f is there; %s\n", seed, power, noise.number(),
                noise.uncertainty.value_or(0), truth, noise.reason.c_str());
    EXPECT_NEAR(noise.number(), truth, 1.2 * noise.uncertainty.value_or(0)) << noise.reason;
  }
}

// Colour that lost its burst on the way is no noise: it reads as with the burst.
TEST(VideoLiveScenes, ColourWithoutBurstIsNotNoise) {
  for (const bool is_625 : {true, false}) {
    Wave w = is_625 ? wave_625() : wave_525();
    w.noise_mv = 2.5;
    w.start_line = 57.7;
    const auto lines = scene(w, 5, 2.0);
    const double with = get(look_at(w, lines, 13.5e6, 0.12), "video.noise").number();
    w.burst_pp_mv = 0;
    const Reading without = get(look_at(w, lines, 13.5e6, 0.12), "video.noise");
    ASSERT_TRUE(without.measured()) << without.reason;
    std::printf("  with burst %.3f mV, without %.3f mV\n", with, without.number());
    EXPECT_NEAR(without.number(), with, 0.02 * with);
  }
}

// Detail of colour as fine as that of brightness. Its carrier turns by a half (525 lines) or a quarter (625)
// of a turn from frame to frame [SMPTE 170M, BT.1700], so that it does not come again as the picture does.
TEST(VideoLiveScenes, ColourDetailIsNotNoise) {
  unsigned combination = 0;
  for (const bool is_625 : {true, false}) {
    for (const double power : {1.4, 1.6, 1.8, 2.0, 2.4}) {
      for (const int seed : {5, 900}) {
        if (!coverage::taken(combination++, 3)) continue;
        Wave w = is_625 ? wave_625() : wave_525();
        w.noise_mv = 2.5;
        w.start_line = 57.7;
        const Reading r = get(look_at(w, scene(w, seed, power), 13.5e6, 0.12), "video.noise");
        if (!r.measured()) continue;
        const double truth = w.noise_mv * std::sqrt((is_625 ? 5e6 : 4.2e6) / 6.75e6);
        std::printf("    %d lines, %.1f, %d: %.2f +- %.2f mV, %.2f is there\n", w.lines, power, seed,
                    r.number(), r.uncertainty.value_or(0), truth);
        EXPECT_NEAR(r.number(), truth, 1.2 * r.uncertainty.value_or(0)) << r.reason;
      }
    }
  }
}

// Its fundamental is 2/pi of a sawtooth (Fourier series).
TEST(VideoLiveScenes, SawtoothOfASupplyIsFoundInFieldBlanking) {
  for (const bool is_625 : {true, false}) {
    for (const double pp : {4.0, 26.0}) {
      Wave w = is_625 ? wave_625() : wave_525();
      w.noise_mv = 2;
      w.start_line = 57.7;
      const Readings r = look_at(w, scene(w, 5, 1.6), 13.5e6, 0.12, pp);
      expect_near(r, "video.noise.periodic.frequency", 87'311.7, 400);
      expect_near(r, "video.noise.periodic.level", 2 / pi * pp, 0.05 * pp);
    }
  }
}

}  // namespace
