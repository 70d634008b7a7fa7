// The command line for test pictures: `signals write` and `signals show`.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>
#include <support/python.hpp>
#include <vector>
#include <where.hpp>

namespace {

using testing_support::Finished;
using testing_support::run_program;
using testing_support::TempDir;

class PictureCommand : public ::testing::Test {
 protected:
  PictureCommand() {
    setenv("LINEBENCH_HOME", home_.path().c_str(), 1);
    setenv("LINEBENCH_SHARE", LINEBENCH_SOURCE_DIR, 1);
  }
  ~PictureCommand() override {
    unsetenv("LINEBENCH_HOME");
    unsetenv("LINEBENCH_SHARE");
  }
  static Finished run(std::vector<std::string> args) {
    args.insert(args.begin(), {LINEBENCH_PROGRAM, "signals"});
    return run_program(args);
  }
  static nlohmann::json written(std::vector<std::string> args) {
    args.emplace_back("--json");
    const Finished f = run(std::move(args));
    EXPECT_EQ(f.status, 0) << f.err;
    return nlohmann::json::parse(f.out).at("output");
  }
  static void expect_refused(const std::vector<std::string>& args, int status, const std::string& part) {
    const Finished f = run(args);
    EXPECT_EQ(f.status, status) << f.err;
    EXPECT_EQ(f.out, "");
    EXPECT_NE(f.err.find(part), std::string::npos) << f.err;
    EXPECT_EQ(std::count(f.err.begin(), f.err.end(), '\n'), 1) << f.err;
  }
  TempDir home_;
};

// A white field read back by numpy alone: sync and white where N.60 puts them, however it is stored.
TEST_F(PictureCommand, WritesSamplesThatOthersRead) {
  const TempDir dir;
  const auto wav = written({"write", "video-white", "--out", dir / "a.wav", "--frames", "1"});
  EXPECT_EQ(wav.at("frames"), 1'080'000);  // 27 MS/s over 25 frames a second
  written({"write", "video-white", "--out", dir / "b.raw", "--frames", "1", "--samples", "u8"});
  written({"write", "video-white", "--out", dir / "c.csv", "--fields", "1", "--rate", "13.5e6"});
  written({"write", "video-white", "--out", dir / "d.raw", "--seconds", "0.04", "--samples", "f32le"});
  const auto v = testing_support::run_python_numbers(R"(
import sys, json, wave, numpy as np
folder = sys.argv[1] + '/'
w = wave.open(folder + 'a.wav'); s = json.load(open(folder + 'a.json'))
a = np.frombuffer(w.readframes(w.getnframes()), '<i2') / 32768 * s['scale']
s = json.load(open(folder + 'b.json')); b = np.fromfile(folder + 'b.raw', 'u1') * s['scale'] + s['offset']
c = np.array([float(l.split(',')[1]) for l in open(folder + 'c.csv').read().splitlines()[3:]])
d = np.fromfile(folder + 'd.raw', '<f4')
for x, rate in ((a, 27e6), (b, 27e6), (c, 13.5e6), (d, 27e6)):
    line = x[int(round(100 * 64e-6 * rate)):]   # line 101 begins exactly 100 line periods in
    at = lambda us: line[int(us * 1e-6 * rate)]
    print(at(2.3), at(30))
)",
                                                     {dir.path().string()});
  ASSERT_EQ(v.size(), 8U);
  for (std::size_t i = 0; i < 8; i += 2) {
    const double step = i == 2 ? 4e-3 : 1e-4;  // half a count of 8 bit
    EXPECT_NEAR(v[i], -0.3, step) << i;
    EXPECT_NEAR(v[i + 1], 0.7, step) << i;
  }
}

TEST_F(PictureCommand, WritesFramesAndTheSyncOnlyTest) {
  const TempDir dir;
  const auto png = written({"write", "video-bars-75", "--out", dir / "a.png", "--system", "525"});
  EXPECT_EQ(png.at("height"), 486);
  const auto avi = written({"write", "video-bars-75", "--out", dir / "b.avi", "--frames", "3"});
  EXPECT_EQ(avi.at("frames"), 3);
  EXPECT_EQ(avi.at("height"), 576);
  const auto audio =
      written({"write", "video-sync", "--out", dir / "c.wav", "--seconds", "1", "--rate", "48000"});
  EXPECT_EQ(audio.at("frames"), 48000);
  // Broad pulses of 50 fields a second: the strongest line below 1 kHz of its spectrum by numpy is 50 Hz's.
  const auto v = testing_support::run_python_numbers(R"(
import sys, wave, numpy as np
w = wave.open(sys.argv[1]); x = np.frombuffer(w.readframes(w.getnframes()), '<i2').astype(float)
s = np.abs(np.fft.rfft(x - x.mean()))
print(w.getframerate(), np.argmax(s[:75]))
)",
                                                     {dir / "c.wav"});
  EXPECT_EQ(v.at(0), 48000);
  EXPECT_EQ(v.at(1), 50);
}

TEST_F(PictureCommand, ShowsWhatStandsOnTheLines) {
  const Finished words = run({"show", "video-bars-75", "--system", "525"});
  EXPECT_NE(words.out.find("549.1 mV"), std::string::npos) << words.out;  // 76.88 IRE [170M], computed
  EXPECT_NE(words.out.find("chroma 443.3 mV pp at 167.1 deg"), std::string::npos) << words.out;
  const auto j = nlohmann::json::parse(run({"show", "video-bars-75", "--json"}).out);
  const auto& elements = j.at("signal").at("lines").at("bands").at(0).at("elements");
  EXPECT_EQ(elements.at(1).at("name"), "yellow");
  EXPECT_NEAR(elements.at(1).at("level_mv").get<double>(), 0.886 * 0.75 * 700, 1e-6);  // Y of yellow [BT.601]
}

TEST_F(PictureCommand, RefusesInOneLine) {
  const TempDir dir;
  expect_refused({"write", "video-red", "--out", dir / "a.wav", "--level", "-20dBFS"}, 2, "--level");
  expect_refused({"write", "tone-1k", "--out", dir / "a.wav", "--system", "525"}, 2, "--system");
  expect_refused({"show", "tone-1k", "--system", "525"}, 2, "--system");
  expect_refused({"write", "video-red", "--out", dir / "a.flac"}, 2, ".raw");
  expect_refused({"write", "video-red", "--out", dir / "a.wav", "--seconds", "nan"}, 2, "hour");
  expect_refused({"write", "video-red", "--out", dir / "a.wav", "--rate", "nan"}, 2, "rate");
  expect_refused({"write", "video-red", "--out", dir / "no/a.raw"}, 3, "a.raw");
  expect_refused({"write", "video-red", "--out", dir / "no/a.png"}, 3, "a.png");
  ASSERT_EQ(run({"write", "video-red", "--out", dir / "a.png"}).status, 0);
  expect_refused({"write", "video-red", "--out", dir / "a.png"}, 2, "--replace");
}

}  // namespace
