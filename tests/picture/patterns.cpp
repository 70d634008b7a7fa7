// What a picture is taken for: test pictures, live pictures, no signal; fields; repeated and lost frames.
#include <gtest/gtest.h>

#include <linebench/base/error.hpp>

#include "support/frame_synth.hpp"
#include "support/python.hpp"

namespace {
using namespace linebench;
using frame_synth::measure;
using frame_synth::Scene;
using testing_support::TempDir;

std::string text(const Readings& r, const char* id) {
  const Reading* x = find_reading(r, id);
  if (x == nullptr) return "missing";
  return x->measured() ? x->text() : "unmeasurable";
}

// A source over frames in memory.
class Frames final : public capture::FrameSource {
 public:
  Frames(std::vector<capture::Frame> frames, capture::FrameFormat format)
      : frames_(std::move(frames)), format_(format) {}
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const capture::FrameFormat& format() const override { return format_; }
  bool read(capture::Frame& f) override {
    if (at_ >= frames_.size()) return false;
    f = frames_[at_++];
    return true;
  }

 private:
  std::vector<capture::Frame> frames_;
  capture::FrameFormat format_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
};
std::vector<capture::Frame> take(const Scene& scene, int frames) {
  frame_synth::Source s(scene, frames, 7);
  std::vector<capture::Frame> out(static_cast<std::size_t>(frames));
  for (auto& f : out) (void)s.read(f);
  return out;
}
Readings measure_frames(std::vector<capture::Frame> frames, const capture::FrameFormat& format) {
  Frames source(std::move(frames), format);
  return measure::measure_picture(source, {});
}

TEST(PicturePattern, TestPicturesByClosedForm) {
  Scene s;
  s.noise = 1;
  for (const auto& [line, name] : {std::pair{frame_synth::bars(0.75, 0.75), "bars-75"},
                                   {frame_synth::bars(1, 1), "bars-100"},
                                   {frame_synth::bars(1, 0.75), "bars-100-0-75-0"},
                                   {frame_synth::flat(0.2), "flat"},
                                   {frame_synth::flat(1), "flat"},
                                   {frame_synth::staircase(5), "staircase"},
                                   {frame_synth::staircase(10), "staircase"},
                                   {frame_synth::pulse_bar(), "pulse-bar"},
                                   {frame_synth::window(), "window"}}) {
    s.line = line;
    EXPECT_EQ(text(measure(s, 4), "picture.pattern"), name);
  }
  s.picture = [](double x, double row) {  // crosshatch: 16 by 12
    const double dx = x - 45 * std::round(x / 45);
    return std::fmod(row + 1, 48) < 2 ? 1.0 : std::exp(-dx * dx / 4.5);
  };
  const Readings hatch = measure(s, 10);
  EXPECT_EQ(text(hatch, "picture.pattern"), "crosshatch");
  EXPECT_NEAR(find_reading(hatch, "picture.roll")->number(), 0, 0.1);  // not a period of the grid
  s.picture = frame_synth::landscape;
  EXPECT_EQ(text(measure(s, 4), "picture.pattern"), "none");
}

// With everything wrong at once the pattern is still seen for what it is.
TEST(PicturePattern, ThroughFaults) {
  Scene s;
  s.noise = 4;
  s.hum_percent = 8;
  s.hum_hz = 51;
  s.jitter = 1;
  s.gain = 0.85;
  s.flag_px = 10;
  EXPECT_EQ(text(measure(s, 6), "picture.pattern"), "bars-75");
  s.lines = 525;
  s.line = frame_synth::pulse_bar();
  EXPECT_EQ(text(measure(s, 6), "picture.pattern"), "pulse-bar");
}

// Pictures nobody here made: ffmpeg's sources.
Readings from_ffmpeg(const std::string& source, const std::string& filter = "null") {
  const TempDir dir;
  const auto r = testing_support::run_program({"/usr/bin/ffmpeg", "-v", "error", "-f", "lavfi", "-i", source,
                                               "-vf", filter, "-frames:v", "6", "-c:v", "rawvideo",
                                               "-pix_fmt", "yuyv422", dir / "a.avi"});
  EXPECT_EQ(r.status, 0) << r.err;
  const auto s = capture::open_frames(dir / "a.avi");
  return measure::measure_picture(*s, {});
}

TEST(PicturePattern, PicturesOfFfmpeg) {
  const Readings pal = from_ffmpeg("pal75bars=size=720x576:rate=25");
  EXPECT_EQ(text(pal, "picture.pattern"), "bars-100-0-75-0");
  EXPECT_NEAR(find_reading(pal, "picture.hue")->number(), 0, 0.5);
  EXPECT_NEAR(find_reading(pal, "picture.saturation")->number(), 1, 0.01);
  EXPECT_NEAR(find_reading(pal, "picture.luma.gain")->number(), 100, 0.5);
  EXPECT_EQ(text(from_ffmpeg("pal100bars=size=720x576:rate=25"), "picture.pattern"), "bars-100");
  const Readings smpte = from_ffmpeg("smptebars=size=720x480:rate=30000/1001");
  EXPECT_EQ(text(smpte, "picture.pattern"), "bars-75");
  EXPECT_NEAR(find_reading(smpte, "picture.saturation")->number(), 1, 0.01);
  EXPECT_NEAR(find_reading(smpte, "picture.luma.gain")->number(), 100, 0.7);
  // Its hue turned by ffmpeg's own filter.
  const Readings turned = from_ffmpeg("smptebars=size=720x480:rate=30000/1001", "format=yuv422p,hue=s=0.5");
  EXPECT_NEAR(find_reading(turned, "picture.saturation")->number(), 0.5, 0.02);
  EXPECT_EQ(text(from_ffmpeg("testsrc2=size=720x576:rate=25"), "picture.pattern"), "none");
  // Wide bars between grey sides, over ramps and others: none of the patterns here, and no window.
  const Readings wide = from_ffmpeg("smptehdbars=size=720x576:rate=25");
  EXPECT_EQ(text(wide, "picture.pattern"), "none");
  EXPECT_FALSE(find_reading(wide, "picture.luma.gain")->measured());
  EXPECT_FALSE(find_reading(wide, "picture.echo.level")->measured());
}

TEST(PictureSignal, BlueBlackAndSnowAreNone) {
  const capture::FrameFormat format = Scene{}.format();
  const auto uniform = [&](int y, int cb, int cr) {
    capture::Frame f;
    f.y.assign(720 * 576, static_cast<std::uint8_t>(y));
    f.cb.assign(360 * 576, static_cast<std::uint8_t>(cb));
    f.cr.assign(360 * 576, static_cast<std::uint8_t>(cr));
    return measure_frames({f, f, f}, format);
  };
  EXPECT_EQ(text(uniform(41, 240, 110), "picture.signal"), "none");
  EXPECT_EQ(text(uniform(35, 212, 114), "picture.signal"), "none");
  EXPECT_EQ(text(uniform(16, 128, 128), "picture.signal"), "none");
  EXPECT_EQ(text(uniform(0, 0, 0), "picture.signal"), "none");
  EXPECT_EQ(text(uniform(126, 128, 128), "picture.signal"), "present");
  Scene snow;
  snow.line = frame_synth::flat(0.4);
  snow.noise = 50;
  const Readings r = measure(snow, 4);
  EXPECT_EQ(text(r, "picture.signal"), "none");
  EXPECT_EQ(text(r, "picture.pattern"), "unmeasurable");
  // A weak picture in strong noise is still one.
  Scene weak;
  weak.noise = 20;
  EXPECT_EQ(text(measure(weak, 4), "picture.signal"), "present");
}

// A signal that goes and comes: what is measured is the picture, and how long there was none is said.
TEST(PictureSignal, LostInTheMiddleOrLateAtTheStart) {
  Scene s;
  s.line = frame_synth::bars(1, 0.75);
  s.coloured_bars = true;
  s.noise = 1.5;
  s.hum_percent = 2;
  s.hum_hz = 50.4;
  const auto blue = [](capture::Frame& f, unsigned) {
    std::fill(f.y.begin(), f.y.end(), 41);
    std::fill(f.cb.begin(), f.cb.end(), 240);
    std::fill(f.cr.begin(), f.cr.end(), 110);
    // With a message on it.
    for (std::size_t r = 250; r < 290; ++r)
      std::fill_n(f.y.begin() + static_cast<long>(r * 720 + 200), 150, 200);
  };
  const auto snow = [](capture::Frame& f, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(110, 50);
    for (auto& v : f.y) v = static_cast<std::uint8_t>(std::clamp(normal(random), 0.0, 255.0));
    std::fill(f.cb.begin(), f.cb.end(), 128);
    std::fill(f.cr.begin(), f.cr.end(), 128);
  };
  const auto check = [&](int from, int to, auto&& without, double lost, const char* said) {
    auto frames = take(s, 50);
    for (int n = from; n < to; ++n) without(frames[static_cast<std::size_t>(n)], static_cast<unsigned>(n));
    capture::FrameFormat format = s.format();
    format.counted = true;
    const Readings r = measure_frames(frames, format);
    EXPECT_EQ(text(r, "picture.signal"), "present");
    const Reading* gone = find_reading(r, "picture.signal.lost");
    EXPECT_EQ(gone->number(), lost) << from;
    EXPECT_NE((gone->reason + find_reading(r, "picture.signal")->reason).find(said), std::string::npos)
        << gone->reason;
    EXPECT_EQ(text(r, "picture.pattern"), "bars-100-0-75-0");
    EXPECT_NEAR(find_reading(r, "picture.luma.gain")->number(), 100, 0.3);
    EXPECT_NEAR(find_reading(r, "picture.hum.level")->number(), 2, 0.2);
    EXPECT_NEAR(find_reading(r, "picture.hum.frequency")->number(), 50.4, 0.05);
    EXPECT_NEAR(find_reading(r, "picture.noise")->number(), 1.5, 0.05);
    EXPECT_EQ(find_reading(r, "picture.frames.dropped")->number(), 0);
  };
  check(25, 50, blue, 25, "the first at 1.00 s; left out of all else; the whole picture is blue");
  check(20, 30, snow, 10, "0.40 s in all");
  check(0, 20, blue, 0, "it comes 0.80 s after the start");
  check(0, 16, snow, 0, "it comes 0.64 s after the start");
  // Black with the noise of an amplifier that hears nothing.
  for (const double sigma : {0.4, 1.5, 3.0}) {
    const auto black = [&](capture::Frame& f, unsigned seed) {
      std::mt19937 random(seed);
      std::normal_distribution<double> normal(16, sigma);
      for (auto& v : f.y) v = static_cast<std::uint8_t>(std::clamp(std::lround(normal(random)), 0L, 255L));
      std::fill(f.cb.begin(), f.cb.end(), 128);
      std::fill(f.cr.begin(), f.cr.end(), 128);
    };
    check(12, 37, black, 25, "1.00 s in all, the first at 0.48 s; left out of all else; black");
  }
}

// Light that is turned down and up again takes a picture to black by degrees: the signal was there.
TEST(PictureSignal, AFadeToBlackIsNoLoss) {
  Scene s;
  std::mt19937 random(2);
  std::normal_distribution<double> noise(0, 1.5);
  auto frames = take(s, 60);
  for (std::size_t n = 0; n < frames.size(); ++n) {
    const double share = std::clamp((std::abs(static_cast<double>(n) - 30) - 10) / 15, 0.0, 1.0);
    for (auto& v : frames[n].y)
      v = static_cast<std::uint8_t>(std::lround(16 + share * (v - 16) + noise(random)));
    for (auto* plane : {&frames[n].cb, &frames[n].cr})
      for (auto& v : *plane) v = static_cast<std::uint8_t>(std::lround(128 + share * (v - 128)));
  }
  const Readings r = measure_frames(frames, s.format());
  EXPECT_EQ(find_reading(r, "picture.signal.lost")->number(), 0);
}

// A van's blue side before the camera has noise and the light's shading; a grabber's blue has neither. And
// where a grabber shows grey without a signal, no camera gives one code in every pixel.
TEST(PictureSignal, ABlueWallIsAPictureAndPlainGreyAfterOneIsNone) {
  Scene s;
  s.noise = 1.5;
  s.picture = [](double x, double row) { return 0.2 + 0.02 * x / 720 + 0.03 * row / 576; };
  auto wall = take(s, 12);
  std::mt19937 random(1);
  std::normal_distribution<double> chroma(0, 0.8);
  for (capture::Frame& f : wall) {
    for (auto& v : f.cb) v = static_cast<std::uint8_t>(std::lround(170 + chroma(random)));
    for (auto& v : f.cr) v = static_cast<std::uint8_t>(std::lround(110 + chroma(random)));
  }
  EXPECT_EQ(text(measure_frames(wall, s.format()), "picture.signal"), "present");
  Scene bars;
  bars.noise = 1.5;
  auto frames = take(bars, 50);
  for (std::size_t n = 20; n < 45; ++n) std::fill(frames[n].y.begin(), frames[n].y.end(), 128);
  const Readings r = measure_frames(frames, bars.format());
  EXPECT_EQ(find_reading(r, "picture.signal.lost")->number(), 25);
  // Flat fields without noise, one after another, are a generator's.
  auto flats = take(bars, 12);
  for (std::size_t n = 0; n < flats.size(); ++n)
    std::fill(flats[n].y.begin(), flats[n].y.end(), n < 6 ? 125 : 60);
  EXPECT_EQ(text(measure_frames(flats, bars.format()), "picture.signal"), "present");
}

// A block that crosses the picture, sampled field by field.
std::vector<capture::Frame> moving(bool top_first, bool progressive, int frames) {
  Scene s;
  s.noise = 1;
  s.picture = [](double x, double row) { return 0.4 + 0.1 * std::sin(row / 6.0) + 0 * x; };
  auto out = take(s, frames);
  for (int n = 0; n < frames; ++n) {
    for (int r = 150; r < 400; ++r) {
      const bool second = !progressive && (r % 2 == 0) != top_first;
      const double at = 60 + 24.0 * n + (second ? 12 : 0);
      for (int x = 0; x < 720; ++x) {
        auto& c = out[static_cast<std::size_t>(n)].y[static_cast<std::size_t>(r * 720 + x)];
        c = static_cast<std::uint8_t>(
            std::clamp(c + 80 * (frame_synth::step(x, at) - frame_synth::step(x, at + 60)), 0.0, 255.0));
      }
    }
  }
  return out;
}

TEST(PictureFields, OrderFromMotion) {
  const capture::FrameFormat format = Scene{}.format();
  EXPECT_EQ(text(measure_frames(moving(true, false, 12), format), "picture.field_order"), "top");
  EXPECT_EQ(text(measure_frames(moving(false, false, 12), format), "picture.field_order"), "bottom");
  EXPECT_EQ(text(measure_frames(moving(true, true, 12), format), "picture.field_order"), "unmeasurable");
  // Against the order in which the fields were scanned, where that is told.
  capture::FrameFormat told = format;
  for (const bool top : {true, false}) {
    told.top_field_first = top;
    EXPECT_EQ(text(measure_frames(moving(true, false, 12), told), "picture.field_order.kept"),
              top ? "yes" : "no");
  }
  told.top_field_first.reset();
  EXPECT_EQ(text(measure_frames(moving(true, false, 12), told), "picture.field_order.kept"), "unmeasurable");
  Scene still;
  still.noise = 1;
  EXPECT_EQ(text(measure(still, 5), "picture.field_order"), "unmeasurable");
  EXPECT_NE(find_reading(measure(still, 5), "picture.field_order")->reason.find("nothing moves"),
            std::string::npos);
  EXPECT_NE(find_reading(measure(still, 5), "picture.fields.swapped"), nullptr);
}

// A camera panned sideways over slanting detail: nothing rolls, and nowhere does the picture stand still, so
// there is no number for noise that would be motion's.
TEST(PictureFields, PanIsNoRollAndNoNoise) {
  for (const double px_per_frame : {2.0, 12.0}) {
    std::vector<capture::Frame> frames;
    for (int n = 0; n < 30; ++n) {
      Scene s;
      s.noise = 1;
      s.picture = [n, px_per_frame](double x, double row) {
        double v = 0.45;
        for (int k = 1; k <= 9; ++k)
          v += 0.12 / k *
               std::sin(0.013 * k * (x + px_per_frame * n) + 0.02 * k * (k % 3 - 1.2) * row + k * k);
        return v;
      };
      frame_synth::Source source(s, 1, static_cast<unsigned>(n) + 1);
      frames.emplace_back();
      (void)source.read(frames.back());
      frames.back().number = static_cast<std::uint64_t>(n);
    }
    const Readings r = measure_frames(frames, Scene{}.format());
    const Reading& roll = *find_reading(r, "picture.roll");
    if (roll.measured()) {
      EXPECT_LT(std::abs(roll.number()), 0.1);
    }
    const Reading& noise = *find_reading(r, "picture.noise");
    if (noise.measured()) {
      EXPECT_NEAR(noise.number(), 1, 2.5 * noise.uncertainty.value_or(0));
    }
    EXPECT_FALSE(find_reading(r, "picture.hum.level")->measured());
  }
}

// Stairs that run, a shutter, a crowd: two thirds of the width move down, the rest stands as it stood.
TEST(PictureFields, WhatMovesBesideWhatStandsIsNoRoll) {
  for (const double rows_per_frame : {1.92, 6.0}) {
    for (const bool all : {false, true}) {
      std::vector<capture::Frame> frames;
      for (int n = 0; n < 40; ++n) {
        Scene s;
        s.noise = 1;
        s.picture = [&](double x, double row) {
          const bool moves = all || (x > 120 && x < 600);
          return frame_synth::landscape(x, row) +
                 0.1 * std::sin(0.0654 * (row - (moves ? n * rows_per_frame : 0)));
        };
        if (all)
          s.picture = [&](double x, double row) {
            return frame_synth::landscape(x, row - n * rows_per_frame);
          };
        frame_synth::Source source(s, 1, static_cast<unsigned>(n) + 1);
        frames.emplace_back();
        (void)source.read(frames.back());
        frames.back().number = static_cast<std::uint64_t>(n);
      }
      const Readings r = measure_frames(frames, Scene{}.format());
      const Reading& roll = *find_reading(r, "picture.roll");
      if (all) {
        ASSERT_TRUE(roll.measured()) << roll.reason;
        EXPECT_NEAR(roll.number(), rows_per_frame, 0.1);
      } else {
        EXPECT_FALSE(roll.measured() && std::abs(roll.number()) > 0.1) << roll.number();
      }
    }
  }
}

// Bars of 100 % at 80 % gain look like bars of 75 % at 107 %: said, and settled by the signal's name.
TEST(PicturePattern, AmplitudeOfBarsBySignalSent) {
  Scene s;
  s.line = frame_synth::bars(1, 1);
  s.noise = 1;
  s.gain = 0.8;
  const auto frames = take(s, 4);
  Frames unnamed(frames, s.format());
  const Readings r = measure::measure_picture(unnamed, {});
  EXPECT_NE(find_reading(r, "picture.pattern")->reason.find("80 %"), std::string::npos)
      << find_reading(r, "picture.pattern")->reason;
  Frames named(frames, s.format());
  measure::PictureOptions options;
  options.signal = "video-bars-100";
  const Readings known = measure::measure_picture(named, options);
  EXPECT_EQ(text(known, "picture.pattern"), "bars-100");
  EXPECT_NEAR(find_reading(known, "picture.luma.gain")->number(), 80, 0.5);
}

TEST(PictureFrames, DamagedAmongTheFirst) {
  Scene s;
  s.noise = 1;
  auto frames = take(s, 8);
  frames[2].corrupt = true;
  std::fill(frames[2].y.begin(), frames[2].y.end(), std::uint8_t{200});
  const Readings r = measure_frames(frames, s.format());
  EXPECT_EQ(find_reading(r, "picture.frames.dropped")->number(), 0);
  EXPECT_NE(find_reading(r, "picture.frames.dropped")->reason.find("1 more came damaged"), std::string::npos);
  EXPECT_EQ(text(r, "picture.pattern"), "bars-75");
  EXPECT_NEAR(find_reading(r, "picture.noise")->number(), 1, 0.1);
}

TEST(PictureFields, SwappedRows) {
  Scene s;
  s.noise = 1;
  s.picture = [](double x, double row) { return 0.5 + 0.2 * std::sin(row / 5.0 + x / 60.0); };
  auto frames = take(s, 4);
  EXPECT_EQ(text(measure_frames(frames, s.format()), "picture.fields.swapped"), "no");
  for (auto& f : frames) {
    for (int r = 0; r < 576; r += 2)
      std::swap_ranges(f.y.begin() + r * 720, f.y.begin() + (r + 1) * 720, f.y.begin() + (r + 1) * 720);
  }
  EXPECT_EQ(text(measure_frames(frames, s.format()), "picture.fields.swapped"), "yes");
}

// A receiver out of step shows each field where it is by then: their rows stand apart, and are in their
// place.
TEST(PictureFields, RollingRowsAreNotSwapped) {
  for (const double roll : {-10.0, -6.0, 3.0, 10.0}) {
    Scene s;
    s.noise = 1;
    s.picture = frame_synth::landscape;
    s.roll = roll;
    s.roll_scanned = true;
    const Readings r = measure_frames(take(s, 40), s.format());
    ASSERT_TRUE(find_reading(r, "picture.roll")->measured()) << find_reading(r, "picture.roll")->reason;
    EXPECT_NEAR(find_reading(r, "picture.roll")->number(), roll, 0.1 + 0.001 * roll * roll);
    const Reading* swapped = find_reading(r, "picture.fields.swapped");
    ASSERT_NE(swapped, nullptr);
    EXPECT_FALSE(swapped->measured()) << roll;
    EXPECT_FALSE(swapped->reason.empty());
  }
}

TEST(PictureFrames, RepeatedLostFrozen) {
  Scene s;
  s.noise = 1;
  auto frames = take(s, 12);
  frames[4] = frames[3];
  frames[9] = frames[8];
  for (std::size_t i = 0; i < frames.size(); ++i) frames[i].number = i + (i >= 6 ? 3 : 0);
  const Readings r = measure_frames(frames, s.format());
  EXPECT_EQ(find_reading(r, "picture.frames.duplicated")->number(), 2);
  EXPECT_EQ(find_reading(r, "picture.frames.dropped")->number(), 3);
  EXPECT_NEAR(find_reading(r, "picture.frames.frozen")->number(), 0.04, 1e-9);
  // Sixteen of forty frames are one and the same.
  auto stood = take(s, 40);
  for (std::size_t i = 11; i < 26; ++i) stood[i] = stood[10];
  EXPECT_NEAR(find_reading(measure_frames(stood, s.format()), "picture.frames.frozen")->number(), 0.6, 1e-9);
  // All alike: frozen or a generator; no number.
  const Readings frozen = measure_frames(std::vector<capture::Frame>(6, frames[0]), s.format());
  EXPECT_FALSE(find_reading(frozen, "picture.frames.duplicated")->measured());
}

TEST(PictureFrames, ClippedPixels) {
  Scene s;
  s.line = frame_synth::window();
  s.gain = 1.2;
  s.noise = 1;
  const Readings r = measure(s, 4);
  EXPECT_NEAR(find_reading(r, "picture.clipped")->number(), 50, 1);
  // A grabber that keeps 0 and 255 for itself cuts at 1 and 254 [BT.601].
  const capture::FrameFormat format = s.format();
  capture::Frame f;
  f.cb.assign(static_cast<std::size_t>(format.width * format.height / 2), 128);
  f.cr = f.cb;
  std::vector<capture::Frame> frames(3, f);
  for (std::size_t n = 0; n < frames.size(); ++n) {
    for (int i = 0; i < format.width * format.height; ++i) {
      const std::uint8_t four[] = {254, 1, static_cast<std::uint8_t>(60 + 7 * n), 2};
      frames[n].y.push_back(four[i * 4 / (format.width * format.height)]);
    }
    frames[n].number = n;
  }
  EXPECT_NEAR(find_reading(measure_frames(frames, format), "picture.clipped")->number(), 50, 0.01);
}

TEST(PictureBadInput, OneFrameAndNone) {
  Scene s;
  s.noise = 1;
  const Readings r = measure(s, 1);
  EXPECT_EQ(text(r, "picture.pattern"), "bars-75");
  for (const char* id : {"picture.roll", "picture.noise", "picture.hum.level", "picture.frames.duplicated"})
    EXPECT_FALSE(find_reading(r, id)->measured()) << id;
  EXPECT_THROW((void)measure(s, 0), Error);
}

}  // namespace
