// What a grabber adds of its own, learnt and taken out; and what its gain control says of sync. The grabbers
// here are closed forms: sync S and picture P of a signal (1 = nominal) come out with the gain own P / S^a,
// where a is 1 if gain follows sync and 0 if it is fixed; a limiter holds white at or below 1.1.
#include <gtest/gtest.h>

#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/measure/grabber.hpp>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "support/coverage.hpp"
#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using capture::GrabberCalibration;
using frame_synth::Scene;

struct Grabber {
  double own = 0.96;
  double follows = 1;
  bool limits = false;
};

Scene bars_through(const Grabber& g, double white, double sync, double picture) {
  Scene s;
  s.line = frame_synth::bars(white, white);
  s.coloured_bars = true;
  s.colour = white;
  s.noise = 1;
  s.gain = g.own * picture / std::pow(sync, g.follows);
  if (g.limits) s.gain = std::min(s.gain, 1.1 / white);
  return s;
}
Readings seen(const Grabber& g, double white, double sync, double picture, unsigned seed) {
  measure::PictureOptions options;
  options.signal = white < 1 ? "video-bars-75" : "video-bars-100";
  return frame_synth::measure(bars_through(g, white, sync, picture), 4, seed, options);
}

GrabberCalibration calibrated(const Grabber& g, double pad_db = 6) {
  GrabberCalibration c;
  c.at = "2026-11-25T10:00:00Z";
  measure::learn_grabber(c, seen(g, 0.75, 1, 1, 91));
  measure::learn_grabber(c, seen(g, 1.0, 1, 1, 92));
  const double down = std::pow(10, -pad_db / 20);
  measure::learn_gain_control(c, seen(g, 1.0, 1, 1, 92), seen(g, 1.0, down, down, 93), pad_db);
  return c;
}
const Reading& get(const Readings& r, const char* id) {
  const Reading* found = find_reading(r, id);
  if (found == nullptr) throw std::runtime_error(std::string("no reading ") + id);
  return *found;
}

TEST(GrabberGainControl, FollowsSyncOrIsFixed) {
  EXPECT_NEAR(calibrated({}).follows->value, 1, 0.01);
  EXPECT_NEAR(calibrated({.follows = 0}).follows->value, 0, 0.05);
  EXPECT_NEAR(calibrated({.follows = 0.5}, 3).follows->value, 0.5, 0.05);
  GrabberCalibration c;
  const Readings bars = seen({}, 1, 1, 1, 1);
  EXPECT_THROW(measure::learn_gain_control(c, bars, bars, 40), Error);
  EXPECT_THROW(measure::learn_gain_control(c, bars, seen({}, 0.75, 1, 1, 1), 6), Error);
}

TEST(GrabberGainControl, SyncLowOfItsWhite) {
  const Grabber g;
  const GrabberCalibration c = calibrated(g);
  const Readings r = measure::sync_to_white(seen(g, 0.75, 0.85, 1, 5), seen(g, 1, 0.85, 1, 6), &c);
  EXPECT_EQ(get(r, "picture.sync.gain_control").text(), "the same at both whites");
  EXPECT_NEAR(get(r, "picture.sync.ratio").number(), 85, 1);
  EXPECT_NE(get(r, "picture.sync.ratio").reason.find("sync is low"), std::string::npos);
  // Loss on the way takes sync and picture alike and must not show.
  const Readings lossy = measure::sync_to_white(seen(g, 0.75, 0.6, 0.6, 5), seen(g, 1, 0.6, 0.6, 6), &c);
  EXPECT_NEAR(get(lossy, "picture.sync.ratio").number(), 100, 1.5);
  EXPECT_NE(get(lossy, "picture.sync.ratio").reason.find("in proportion"), std::string::npos);
}

TEST(GrabberGainControl, LimiterOfHighWhite) {
  const Grabber g{.limits = true};
  const GrabberCalibration c = calibrated(g);
  const Readings r = measure::sync_to_white(seen(g, 0.75, 0.8, 1, 5), seen(g, 1, 0.8, 1, 6), &c);
  EXPECT_EQ(get(r, "picture.sync.gain_control").text(), "turned down by high white");
  EXPECT_NEAR(get(r, "picture.sync.ratio").number(), 80, 1);  // from the lower white, which it leaves alone
}

TEST(GrabberGainControl, NoNumberWhereItCannotBeTold) {
  const Grabber fixed{.follows = 0};
  const GrabberCalibration c = calibrated(fixed);
  Readings r = measure::sync_to_white(seen(fixed, 0.75, 0.8, 1, 5), seen(fixed, 1, 0.8, 1, 6), &c);
  EXPECT_FALSE(get(r, "picture.sync.ratio").measured());
  EXPECT_NE(get(r, "picture.sync.ratio").reason.find("does not follow sync"), std::string::npos);
  r = measure::sync_to_white(seen({}, 0.75, 1, 1, 5), seen({}, 1, 1, 1, 6), nullptr);
  EXPECT_NE(get(r, "picture.sync.ratio").reason.find("calibrate"), std::string::npos);
  EXPECT_THROW((void)measure::sync_to_white(seen({}, 1, 1, 1, 5), seen({}, 0.75, 1, 1, 6), &c), Error);
}

TEST(GrabberGainControl, RatioCoverage) {
  std::vector<GrabberCalibration> known;
  for (const double own : {0.9, 1.0, 1.05}) known.push_back(calibrated({.own = own}));
  coverage::expect_coverage("picture.sync.ratio", 100, [&](unsigned seed) {
    Grabber g{.own = seed % 3 == 0 ? 0.9 : seed % 3 == 1 ? 1.0 : 1.05};
    // Gain control and connectors come back to the same gain within 0.5 % (k = 2; common practice).
    std::mt19937 random(seed);
    g.own *= 1 + std::normal_distribution<double>(0, 0.0025)(random);
    const double sync = 0.9 + 0.2 * std::fmod(seed * 0.618, 1.0);
    const Readings r = measure::sync_to_white(seen(g, 0.75, sync, 1, seed), seen(g, 1, sync, 1, seed + 1000),
                                              &known[seed % 3]);
    const Reading& x = get(r, "picture.sync.ratio");
    return coverage::Trial{x.number(), x.uncertainty.value_or(0), 100 * sync};
  });
}

TEST(GrabberCalibrated, IsTakenOut) {
  Scene own = bars_through({.own = 0.93}, 1.0, 1, 1);
  own.saturation = 0.9;
  own.hue_deg = 4;
  own.noise = 2;
  measure::PictureOptions options;
  options.signal = "video-bars-100";
  GrabberCalibration c;
  c.at = "2026-11-25T10:00:00Z";
  measure::learn_grabber(c, frame_synth::measure(own, 8, 1, options));
  // The path: gain 0.9, saturation 0.8, turned by -6 degrees, noise of 3 codes.
  Scene path = own;
  path.gain *= 0.9;
  path.saturation *= 0.8;
  path.hue_deg -= 6;
  path.noise = std::hypot(2.0, 3.0);
  Readings r = frame_synth::measure(path, 8, 2, options);
  measure::take_out_grabber(r, c);
  const auto near = [&](const char* id, double truth, double most) {
    EXPECT_NEAR(get(r, id).number(), truth, most) << id;
    EXPECT_LE(std::abs(get(r, id).number() - truth), 1.5 * get(r, id).uncertainty.value_or(0)) << id;
    EXPECT_NE(get(r, id).reason.find("taken out"), std::string::npos) << id;
  };
  near("picture.luma.gain", 90, 1);
  near("picture.saturation", 0.8, 0.016);
  near("picture.hue", -6, 1);
  near("picture.noise", 3, 0.21);
  near("picture.snr", 20 * std::log10(219.0 / 3), 0.6);
  // No more noise than its own: a bound, no number.
  r = frame_synth::measure(own, 8, 3, options);
  measure::take_out_grabber(r, c);
  EXPECT_FALSE(get(r, "picture.noise").measured());
  EXPECT_LT(get(r, "picture.noise").at_most.value_or(99), 1);
}

void write_capture(const app_test::Folder& dir, const std::string& name, const Scene& scene) {
  frame_synth::Source source(scene, 4, 3);
  std::ofstream out(dir.path / (name + ".yuv"), std::ios::binary);
  capture::Frame f;
  std::string packed;
  while (source.read(f)) {
    packed.clear();
    for (std::size_t i = 0; i < f.cb.size(); ++i) {
      for (const std::uint8_t code : {f.y[2 * i], f.cb[i], f.y[2 * i + 1], f.cr[i]})
        packed += static_cast<char>(code);
    }
    out << packed;
  }
  std::ofstream(dir.path / (name + ".json"))
      << R"({"width": 720, "height": 576, "format": "yuyv", "standard": "625",
    "field_order": "top", "frame_rate": 25, "device": "V4L2: Test, input Composite"})";
}

TEST(GrabberCalibrated, ThroughTheProgram) {
  const app_test::Folder dir;
  const Grabber g{.own = 0.92};
  const double pad = std::pow(10, -6 / 20.0);
  write_capture(dir, "b75", bars_through(g, 0.75, 1, 1));
  write_capture(dir, "b100", bars_through(g, 1, 1, 1));
  write_capture(dir, "pad", bars_through(g, 1, pad, pad));
  write_capture(dir, "low75", bars_through(g, 0.75, 0.8, 1));
  write_capture(dir, "low100", bars_through(g, 1, 0.8, 1));
  auto r = app_test::run(dir, "sync-ratio low75.yuv low100.yuv");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_NE(r.out.find("calibrate it with bars"), std::string::npos) << r.out;
  r = app_test::run(dir, "calibrate --frames b75.yuv --frames b100.yuv --padded pad.yuv --pad-db 6");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_NE(r.out.find("it follows sync"), std::string::npos) << r.out;
  r = app_test::run(dir, "calibrate --list --json");
  EXPECT_EQ(nlohmann::json::parse(r.out)["grabbers"][0]["device"], "V4L2: Test, input Composite");
  r = app_test::run(dir, "sync-ratio low75.yuv low100.yuv --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const auto j = nlohmann::json::parse(r.out);
  for (const auto& x : j["readings"]) {
    if (x["id"] == "picture.sync.ratio") {
      EXPECT_NEAR(x["value"].get<double>(), 80, 1.2);
    }
  }
  // Measured afterwards, its own gain of 92 % is out.
  r = app_test::run(dir, "measure b100.yuv --signal video-bars-100 --json");
  for (const auto& x : nlohmann::json::parse(r.out)["readings"]) {
    if (x["id"] == "picture.luma.gain") {
      EXPECT_NEAR(x["value"].get<double>(), 100, 0.5);
    }
  }
  // The wrong way round, bars of 75 % read as 100 % at three quarters of the gain, and the other way.
  r = app_test::run(dir, "sync-ratio low100.yuv low75.yuv");
  EXPECT_EQ(r.exit, 2);
  EXPECT_NE(r.err.find("wrong way round"), std::string::npos) << r.err;
  r = app_test::run(dir, "calibrate --remove --device \"V4L2: Test\"");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_EQ(app_test::run(dir, "calibrate --frames b75.yuv --pad-db 6").exit, 2);
  EXPECT_EQ(app_test::run(dir, "calibrate --grabber USB --frames b75.yuv").exit, 2);
  EXPECT_EQ(app_test::run(dir, "calibrate --input 1").exit, 2);
  EXPECT_EQ(app_test::run(dir, "calibrate --grabber /dev/none").exit, 3);
  EXPECT_EQ(app_test::run(dir, "sync-ratio low100.yuv nothing.yuv").exit, 3);
}

}  // namespace
