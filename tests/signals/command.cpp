// The command line `signals`: one JSON document, files that another program reads, clear refusals.
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

class SignalsCommand : public ::testing::Test {
 protected:
  SignalsCommand() {
    setenv("LINEBENCH_HOME", home_.path().c_str(), 1);
    setenv("LINEBENCH_SHARE", LINEBENCH_SOURCE_DIR, 1);
  }
  ~SignalsCommand() override {
    unsetenv("LINEBENCH_HOME");
    unsetenv("LINEBENCH_SHARE");
  }
  static Finished run(std::vector<std::string> args) {
    args.insert(args.begin(), {LINEBENCH_PROGRAM, "signals"});
    return run_program(args);
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

TEST_F(SignalsCommand, ListsAndShowsAsTableAndAsOneDocument) {
  const Finished table = run({"list"});
  EXPECT_EQ(table.status, 0) << table.err;
  EXPECT_NE(table.out.find("alignment-r68"), std::string::npos);
  const auto list = nlohmann::json::parse(run({"list", "--json"}).out);
  EXPECT_EQ(list.at("schema"), "linebench/1");
  EXPECT_GE(list.at("signals").size(), 20U);
  for (const auto& s : list.at("signals")) EXPECT_FALSE(s.at("purpose").get<std::string>().empty());
  const Finished words = run({"show", "alignment-r68"});
  EXPECT_NE(words.out.find("1000 Hz"), std::string::npos) << words.out;
  EXPECT_NE(words.out.find("Caution"), std::string::npos) << words.out;
  const auto shown = nlohmann::json::parse(run({"show", "sweep-wide", "--json"}).out);
  EXPECT_EQ(shown.at("signal").at("kind"), "sweep");
}

// Read back by another reader (libsndfile under Python): format, channels, level.
TEST_F(SignalsCommand, WritesFilesThatOthersRead) {
  const TempDir dir;
  struct Case {
    std::string file, bits, channels;
    double rate, left, right;
  };
  const Case cases[] = {{"a.wav", "16", "both", 44100, -20, -20},
                        {"b.flac", "24", "left", 48000, -20, -400},
                        {"c.wav", "float", "right", 96000, -400, -20},
                        {"d.wav", "32", "mono", 192000, -20, -20}};
  for (const Case& c : cases) {
    const Finished f =
        run({"write", "tone-997", "--out", dir / c.file, "--bits", c.bits, "--channels", c.channels, "--rate",
             std::to_string(static_cast<int>(c.rate)), "--seconds", "3", "--level", "-20dBFS", "--json"});
    ASSERT_EQ(f.status, 0) << f.err;
    const auto j = nlohmann::json::parse(f.out);
    EXPECT_EQ(j.at("output").at("sample_rate"), c.rate);
    const auto v = run_python_numbers(R"(
import sys, numpy as np, wave
try:
    import soundfile
    x, rate = soundfile.read(sys.argv[1], always_2d=True)
except ImportError:
    import subprocess
    rate = int(subprocess.check_output(['sox', '--i', '-r', sys.argv[1]])); n = int(subprocess.check_output(['sox', '--i', '-c', sys.argv[1]]))
    x = np.frombuffer(subprocess.check_output(['sox', '-D', sys.argv[1], '-t', 'f64', '-']), '<f8').reshape(-1, n)
y = x[rate:2 * rate]
print(rate, len(x) / rate, *(10 * np.log10(2 * np.mean(y[:, c] ** 2) + 1e-40) for c in (0, -1)))
)",
                                      {dir / c.file});
    ASSERT_EQ(v.size(), 4U);
    EXPECT_EQ(v[0], c.rate);
    EXPECT_NEAR(v[1], 3, 1e-4);
    EXPECT_NEAR(v[2], c.left, 0.01) << c.file;
    EXPECT_NEAR(v[3], c.right, 0.01) << c.file;
  }
  std::size_t files = 0;
  for ([[maybe_unused]] const auto& e : std::filesystem::directory_iterator(dir.path())) ++files;
  EXPECT_EQ(files, std::size(cases)) << "drafts were left behind";
}

TEST_F(SignalsCommand, VoltsNeedTheOutputsFullScale) {
  const TempDir dir;
  expect_refused({"write", "tone-1k", "--out", dir / "x.wav", "--level", "+4dBu"}, 2, "--full-scale");
  const Finished f = run(
      {"write", "tone-1k", "--out", dir / "x.wav", "--level", "+4dBu", "--full-scale", "17.362", "--json"});
  ASSERT_EQ(f.status, 0) << f.err;
  const auto j = nlohmann::json::parse(f.out);
  EXPECT_NEAR(j.at("level_dbfs").get<double>(), -20.0, 0.001);  // 1.22765 V * sqrt 2 = 1.7362 V peak
}

TEST_F(SignalsCommand, RefusesInOneLine) {
  const TempDir dir;
  const std::string out = dir / "x.wav";
  ASSERT_EQ(run({"write", "tone-1k", "--seconds", "1", "--out", out}).status, 0);
  const std::string before = testing_support::read_text(out);
  expect_refused({"write", "tone-400", "--out", out}, 2, "--replace");
  EXPECT_EQ(testing_support::read_text(out), before);
  EXPECT_EQ(run({"write", "tone-400", "--seconds", "1", "--out", out, "--replace"}).status, 0);
  EXPECT_NE(testing_support::read_text(out), before);
  expect_refused({"write", "tone-1000", "--out", dir / "y.wav"}, 2, "tone-100");
  expect_refused({"write", "tone-1k", "--out", dir / "y.mp9"}, 2, "mp9");
  expect_refused({"write", "tone-1k", "--out", dir / "no/such/y.wav"}, 3, "y.wav");
  expect_refused({"write", "tone-1k", "--out", dir.path().string()}, 2, "folder");
  expect_refused({"write", "tone-1k", "--out", dir / "y.wav", "--level", "-20"}, 2, "unit");
  expect_refused({"write", "tone-1k", "--out", dir / "y.wav", "--level", "+3dBFS"}, 2, "out of range");
  expect_refused({"write", "tone-1k", "--out", dir / "y.wav", "--rate", "nan"}, 2, "sample rate");
  expect_refused({"write", "tone-10k", "--out", dir / "y.wav", "--rate", "16000"}, 2, "10000 Hz");
  expect_refused({"show", "nothing-like-it"}, 2, "signals list");
  for (const auto& e : std::filesystem::directory_iterator(dir.path())) EXPECT_EQ(e.path(), out);
}

}  // namespace
