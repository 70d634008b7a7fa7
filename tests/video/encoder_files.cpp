// Files of test pictures, read back with other tools: libsndfile, plain parsing, ffmpeg.
#include <gtest/gtest.h>
#include <sndfile.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/signals/picture_writer.hpp>
#include <linebench/signals/video_files.hpp>
#include <linebench/signals/video_frame.hpp>
#include <linebench/signals/video_recipe.hpp>
#include <linebench/standards/video_colour.hpp>
#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>
#include <where.hpp>

#include "support/python.hpp"

namespace {
using namespace linebench;
namespace fs = std::filesystem;
using nlohmann::json;
using testing_support::TempDir;

signals::CompositeEncoder encoder(double rate) {
  signals::EncoderOptions o;
  o.sample_rate_hz = signals::exact_sample_rate(rate, standards::video_625);
  return {signals::describe({.picture = "bars", .form = "100"}, standards::video_625), o};
}

std::vector<float> direct(double rate, std::size_t n) {
  std::vector<float> v(n);
  encoder(rate).read(v);
  return v;
}

json sidecar(const std::string& path) { return json::parse(testing_support::read_text(path)); }

TEST(EncoderFiles, WavHoldsTheSamples) {
  const TempDir dir;
  auto e = encoder(17.734475e6);
  const auto facts = signals::write_composite(dir / "x.wav", e, 200'001, signals::RawFormat::S16);
  EXPECT_EQ(facts.samples, 200'001U);
  SF_INFO info{};
  SNDFILE* f = sf_open((dir / "x.wav").c_str(), SFM_READ, &info);
  ASSERT_NE(f, nullptr);
  EXPECT_EQ(info.samplerate, 17734475);
  EXPECT_EQ(info.channels, 1);
  EXPECT_EQ(info.format & SF_FORMAT_TYPEMASK, SF_FORMAT_WAV);
  std::vector<float> v(static_cast<std::size_t>(info.frames));
  ASSERT_EQ(sf_read_float(f, v.data(), info.frames), 200'001);
  sf_close(f);
  const json j = sidecar(dir / "x.json");
  EXPECT_DOUBLE_EQ(j.at("sample_rate"), 17734475.0);
  EXPECT_EQ(j.at("unit"), "V");
  const auto expected = direct(17.734475e6, v.size());
  double worst = 0;
  for (std::size_t i = 0; i < v.size(); ++i) {
    worst = std::max(worst, std::abs(static_cast<double>(v[i]) * j.at("scale").get<double>() -
                                     static_cast<double>(expected[i])));
  }
  EXPECT_LT(worst, 25.1e-6);  // half a count of 50 uV
  EXPECT_FALSE(fs::exists(dir / "x.wav.part"));
}

TEST(EncoderFiles, RawFormatsFollowTheirSidecar) {
  const TempDir dir;
  const auto expected = direct(13.5e6, 70'000);
  for (const char* format : {"s16le", "f32le", "u8"}) {
    auto e = encoder(13.5e6);
    signals::write_composite(dir / "x.raw", e, expected.size(), signals::raw_format(format));
    const json j = sidecar(dir / "x.json");
    EXPECT_EQ(j.at("format"), format);
    EXPECT_DOUBLE_EQ(j.at("sample_rate"), 13.5e6);
    const std::string bytes = testing_support::read_text(dir / "x.raw");
    const std::size_t size = bytes.size() / expected.size();
    ASSERT_EQ(size, format[0] == 's' ? 2U : format[0] == 'f' ? 4U : 1U);
    double worst = 0;
    for (std::size_t i = 0; i < expected.size(); ++i) {
      double count = 0;
      if (size == 1) count = static_cast<unsigned char>(bytes[i]);
      if (size == 2)
        count = static_cast<std::int16_t>(static_cast<unsigned char>(bytes[2 * i]) | bytes[2 * i + 1] << 8);
      if (size == 4) {
        float v = 0;
        std::memcpy(&v, bytes.data() + 4 * i, 4);
        count = static_cast<double>(v);
      }
      const double volts = count * j.at("scale").get<double>() + j.at("offset").get<double>();
      worst = std::max(worst, std::abs(volts - static_cast<double>(expected[i])));
    }
    EXPECT_LE(worst, size == 1 ? 0.00376 : size == 2 ? 25.1e-6 : 0) << format;
  }
}

TEST(EncoderFiles, CsvIsTimeAndVolts) {
  const TempDir dir;
  auto e = encoder(20e6);
  signals::write_composite(dir / "x.csv", e, 5000, signals::RawFormat::S16);
  const auto expected = direct(20e6, 5000);
  std::ifstream in(dir / "x.csv");
  std::string line;
  std::size_t n = 0;
  while (std::getline(in, line)) {
    double t = 0;
    double v = 0;
    if (std::sscanf(line.c_str(), "%lf,%lf", &t, &v) != 2) continue;  // header
    EXPECT_NEAR(t, static_cast<double>(n) / 20e6, 1e-13);
    EXPECT_NEAR(v, static_cast<double>(expected.at(n)), 0.6e-6);
    ++n;
  }
  EXPECT_EQ(n, 5000U);
}

TEST(EncoderFiles, ErrorsSayWhatToDo) {
  const TempDir dir;
  auto e = encoder(13.5e6);
  EXPECT_THROW(signals::write_composite(dir / "x.mp3", e, 10, signals::RawFormat::S16), Error);
  EXPECT_THROW(signals::write_composite(dir / "none/x.raw", e, 10, signals::RawFormat::S16), Error);
  EXPECT_THROW(signals::write_composite(dir / "none/x.wav", e, 10, signals::RawFormat::S16), Error);
  EXPECT_THROW((void)signals::raw_format("s24"), Error);
  EXPECT_THROW(
      signals::write_png("/nonexistent/x.png", signals::YuyvFrame{2, 2, true, std::vector<std::uint8_t>(8)}),
      Error);
  EXPECT_FALSE(fs::exists(dir / "x.mp3.part"));
  const auto setup = signals::describe({}, standards::video_525);
  EXPECT_THROW((void)signals::make_frame(setup, standards::video_525, 0, 486), Error);
  const auto p = signals::describe({}, standards::video_625);
  EXPECT_THROW((void)signals::make_frame(p, standards::video_625, 0, 480), Error);
}

// Y, Cb, Cr of the first frame of a file as ffmpeg decodes it to 4:2:2.
std::string decode(const std::string& file) {
  const auto r = testing_support::run_program({"/usr/bin/ffmpeg", "-v", "error", "-i", file, "-frames:v", "1",
                                               "-vf", "scale=out_color_matrix=bt601:out_range=tv", "-pix_fmt",
                                               "yuyv422", "-f", "rawvideo", "-"});
  EXPECT_EQ(r.status, 0) << r.err;
  return r.out;
}

TEST(EncoderFiles, PngAndAviAreTheFrame) {
  const TempDir dir;
  for (const bool is_525 : {false, true}) {
    const auto& s = is_525 ? standards::video_525_no_setup : standards::video_625;
    const int height = is_525 ? 480 : 576;
    signals::PictureFrames frames(signals::describe({.picture = "bars", .form = "75"}, s), s, height);
    const auto& frame = frames.at(0);
    signals::write_png(dir / "x.png", frame);
    EXPECT_EQ(signals::write_avi(
                  dir / "x.avi", [&](std::int64_t n) { return frames.at(n); }, 7, s.frame_rate_hz()),
              7);
    for (const char* name : {"x.png", "x.avi"}) {
      const std::string bytes = decode(dir / name);
      ASSERT_EQ(bytes.size(), frame.bytes.size()) << name;
      for (int bar = 0; bar < 8; ++bar) {  // plateaus: through RGB and back within a code
        const auto at = static_cast<std::size_t>(2 * (100 * 720 + (2 * bar + 1) * 45 / 2 * 2));
        for (const std::size_t k : {0U, 1U, 3U}) {
          EXPECT_NEAR(static_cast<unsigned char>(bytes[at + k]), frame.bytes[at + k], 1)
              << name << " " << bar;
        }
      }
    }
    const auto probe = testing_support::run_program(
        {"/usr/bin/ffprobe", "-v", "error", "-count_frames", "-show_entries",
         "stream=codec_name,width,height,nb_read_frames", "-of", "csv=p=0", dir / "x.avi"});
    EXPECT_EQ(probe.out, is_525 ? "ffv1,720,480,7\n" : "ffv1,720,576,7\n");
  }
}

// Elements other than bars, as codes: levels in the middle of each.
TEST(EncoderFiles, FramesOfOtherPictures) {
  const auto& s = standards::video_625;
  const auto column = [](double t_us) { return static_cast<int>(std::lround(t_us * 13.5)) - 132; };
  const auto stairs =
      signals::make_frame(signals::describe({.picture = "staircase", .risers = 5}, s), s, 0, 576);
  const auto picture = signals::describe({.picture = "staircase", .risers = 5}, s);
  for (int i = 0; i <= 5; ++i) {
    const auto& e = picture.line_at(0, 0).elements[static_cast<std::size_t>(i)];
    EXPECT_NEAR(stairs.at(column(e.centre_us()), 300).y, 16 + 219.0 * i / 5, 0.51) << i;
  }
  const auto red = signals::make_frame(signals::describe({.picture = "red"}, s), s, 0, 576);
  EXPECT_EQ(red.at(360, 10).cr, 212);
  EXPECT_EQ(red.at(0, 10).cr, 212);
  const auto pulse = signals::make_frame(signals::describe({.picture = "pulse-bar"}, s), s, 0, 576);
  EXPECT_NEAR(pulse.at(column(26), 10).y, 235, 1);  // 26 us x 13.5 MHz is a sample
  EXPECT_EQ(pulse.at(column(17), 10).y, 235);
  EXPECT_EQ(pulse.at(column(40), 10).y, 16);
  const auto p =
      signals::describe({.picture = "bounce", .low_percent = 0, .high_percent = 100, .seconds = 0.2}, s);
  signals::PictureFrames bounce(p, s, 576);
  EXPECT_EQ(bounce.at(4).at(300, 300).y, 16);
  EXPECT_EQ(bounce.at(5).at(300, 300).y, 235);
  EXPECT_EQ(bounce.at(10).at(300, 300).y, 16);
}

// Every shipped recipe of a test picture can be read and drawn in every system.
TEST(EncoderFiles, RecipesDraw) {
  int pictures = 0;
  for (const auto& entry : fs::directory_iterator(fs::path(LINEBENCH_SOURCE_DIR) / "signals")) {
    if (!entry.path().filename().string().starts_with("video-")) continue;
    const auto recipe = signals::read_recipe(entry.path());
    ++pictures;
    for (const auto* s : standards::video_standards()) {
      signals::EncoderOptions o;
      o.system = s->system;
      o.sample_rate_hz = signals::exact_sample_rate(14.3e6, *s);
      signals::CompositeEncoder e(signals::describe(signals::picture_spec(recipe), *s), o);
      std::vector<float> v(350'000);
      e.read(v);
      EXPECT_TRUE(std::all_of(v.begin(), v.end(), [](float x) { return x > -0.45F && x < 1.1F; }))
          << recipe.name;
    }
  }
  EXPECT_GE(pictures, 20);
}

}  // namespace
