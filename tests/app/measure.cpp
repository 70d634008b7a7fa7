// The measure command as a script and a person see it: exit codes, streams, JSON, page.
#include <gtest/gtest.h>
#include <sys/stat.h>

#include <algorithm>
#include <linebench/capture/audio_file.hpp>
#include <nlohmann/json.hpp>
#include <sstream>
#include <where.hpp>

#include "app/run_program.hpp"
#include "support/synth.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

void write_wav(const std::filesystem::path& path, double rate, const std::vector<synth::Samples>& channels) {
  std::vector<float> interleaved(channels.size() * channels[0].size());
  for (std::size_t i = 0; i < channels[0].size(); ++i) {
    for (std::size_t c = 0; c < channels.size(); ++c) interleaved[i * channels.size() + c] = channels[c][i];
  }
  linebench::capture::AudioFileWriter writer(path, rate, static_cast<int>(channels.size()),
                                             linebench::capture::SampleFormat::Pcm24);
  writer.write(interleaved);
  writer.close();
}

synth::Samples tone(double dbfs, double seconds = 2, double rate = 48000) {
  synth::Samples x(synth::count(seconds, rate));
  synth::add_sine(x, rate, 1000, dbfs);
  synth::add_noise(x, -95, 1);
  return x;
}

void expect_one_line(const std::string& err) {
  EXPECT_EQ(std::count(err.begin(), err.end(), '\n'), 1) << err;
  EXPECT_TRUE(err.starts_with("linebench: ")) << err;
}

class Measure : public ::testing::Test {
 protected:
  void SetUp() override {
    write_wav(folder.path / "tone.wav", 48000, {tone(-18)});
    std::ofstream(folder.path / "loose.toml")
        << "title = \"loose\"\n[[limit]]\nid = \"audio.level.rms\"\nmax = -12\n"
           "source = \"test\"\n";
    std::ofstream(folder.path / "tight.toml")
        << "title = \"tight\"\n[[limit]]\nid = \"audio.level.rms\"\nmax = -20\n"
           "source = \"test\"\n";
    std::ofstream(folder.path / "volts.toml")
        << "title = \"volts\"\n[[limit]]\nid = \"audio.level.voltage\"\nmax = 20\nsource = \"test\"\n";
  }
  Folder folder;
};

TEST_F(Measure, ExitCodesFollowTheVerdict) {
  EXPECT_EQ(run(folder, "measure tone.wav").exit, 0);
  EXPECT_EQ(run(folder, "measure tone.wav --limits ./loose.toml").exit, 0);
  EXPECT_EQ(run(folder, "measure tone.wav --limits tight.toml").exit, 1);
  EXPECT_EQ(run(folder, "measure tone.wav --limits volts.toml").exit, 1);  // not shown to be within limits
  EXPECT_EQ(run(folder, "measure tone.wav --limits volts.toml --full-scale 2").exit, 0);
}

TEST_F(Measure, VerdictIsTheFirstWord) {
  EXPECT_TRUE(run(folder, "measure tone.wav").out.starts_with("MEASURED: no limit set applied"));
  EXPECT_TRUE(run(folder, "measure tone.wav --limits loose.toml").out.starts_with("PASS: "));
  EXPECT_TRUE(run(folder, "measure tone.wav --limits tight.toml").out.starts_with("FAIL: level is too high"));
  EXPECT_TRUE(
      run(folder, "measure tone.wav --limits volts.toml").out.starts_with("INCOMPLETE: Level (voltage)"));
}

TEST_F(Measure, JsonIsOneDocumentAndNothingElse) {
  const auto r = run(folder, "--json measure tone.wav --limits tight.toml --html page.html");
  EXPECT_EQ(r.exit, 1);
  const json j = json::parse(r.out);  // throws on anything around it
  EXPECT_EQ(j.at("schema"), "linebench/1");
  EXPECT_EQ(j.at("command"), "measure");
  EXPECT_EQ(j.at("verdict"), "fail");
  EXPECT_EQ(j.at("limit_set"), "tight");
  EXPECT_EQ(j.at("input").at("source"), "tone.wav");
  bool seen = false;
  for (const auto& reading : j.at("readings")) {
    if (reading.at("id") != "audio.level.rms") continue;
    seen = true;
    EXPECT_NEAR(reading.at("value").get<double>(), -18.0, 0.01);
    EXPECT_EQ(reading.at("verdict"), "fail");
    EXPECT_EQ(reading.at("limit").at("max"), -20);
    EXPECT_EQ(reading.at("limit").at("source"), "test");
  }
  EXPECT_TRUE(seen);
  EXPECT_NE(r.err.find("page.html"), std::string::npos);
  const json plain = json::parse(run(folder, "measure tone.wav --json").out);
  EXPECT_EQ(plain.at("verdict"), "pass");
  EXPECT_FALSE(plain.contains("limit_set"));
}

TEST_F(Measure, FullScaleGivesVolts) {
  // 1.0 = 2 V peak: a -18 dBFS sine is 2/sqrt2 * 10^(-18/20) V rms = 0.17804 V = -12.77 dBu (re 0.774597 V).
  const json j = json::parse(run(folder, "measure tone.wav --full-scale 2 --json").out);
  for (const auto& r : j.at("readings")) {
    if (r.at("id") == "audio.level.voltage") {
      EXPECT_NEAR(r.at("value").get<double>(), -12.77, 0.02);
    }
  }
  EXPECT_EQ(j.at("input").at("full_scale_v"), 2);
}

TEST_F(Measure, BadUsageIsOneLineAndTwo) {
  for (const char* arguments :
       {"measure", "measure tone.wav --limits no-such-set", "measure tone.wav --full-scale nan",
        "measure tone.wav --full-scale 0", "measure tone.wav --full-scale -1",
        "measure tone.wav --full-scale inf", "measure tone.wav --tone nan", "measure tone.wav --tone 0",
        "measure tone.wav --mains 55", "measure tone.wav --view smell", "measure tone.wav --no-such-option",
        "measure tone.wav --html tone.wav"}) {
    const auto r = run(folder, arguments);
    EXPECT_EQ(r.exit, 2) << arguments;
    EXPECT_TRUE(r.out.empty()) << arguments;
    expect_one_line(r.err);
  }
  EXPECT_FALSE(app_test::slurp(folder.path / "tone.wav").empty());
}

TEST_F(Measure, UnusableInputIsOneLineAndThree) {
  std::ofstream(folder.path / "empty.wav").flush();
  std::ofstream(folder.path / "text.wav") << "this is not audio\n";
  std::ofstream(folder.path / "bad.toml")
      << "title = \"x\"\n[[limit]]\nid = \"audio.level.rmss\"\nmax = 1\nsource = \"x\"\n";
  write_wav(folder.path / "short.wav", 48000, {tone(-18, 0.02)});
  for (const char* arguments :
       {"measure none.wav", "measure empty.wav", "measure text.wav", "measure .", "measure short.wav",
        "measure tone.wav --limits bad.toml", "measure tone.wav --html no/such/folder/x.html"}) {
    const auto r = run(folder, arguments);
    EXPECT_EQ(r.exit, 3) << arguments;
    EXPECT_TRUE(r.out.empty()) << arguments;
    expect_one_line(r.err);
  }
}

// A pipe that nobody writes into must be refused, not waited for.
TEST_F(Measure, APipeIsRefused) {
  ASSERT_EQ(mkfifo((folder.path / "pipe.wav").c_str(), 0600), 0);
  const auto r = run(folder, "measure pipe.wav", "LC_ALL=C.UTF-8 timeout 20");
  EXPECT_EQ(r.exit, 3);
  expect_one_line(r.err);
}

// Interrupted in the midst of the file, however busy the machine is: once the program has read a part of it.
TEST_F(Measure, APartDoesNotPassForTheWhole) {
  write_wav(folder.path / "long.wav", 48000, {tone(-18, 240), tone(-18, 240)});
  std::ofstream(folder.path / "interrupt.sh") << R"(
set -m  # a job of its own, so that an interrupt reaches it as from a keyboard
"$@" &
for _ in $(seq 3000); do
  for fd in /proc/$!/fd/*; do
    [[ $(readlink "$fd") == */long.wav ]] || continue
    read -r _ at < /proc/$!/fdinfo/${fd##*/}
    [ "$at" -gt 1000000 ] && kill -INT $! && break 2
  done
  sleep 0.01
done
wait $!
)";
  const auto r = run(folder, "measure long.wav --limits speech-path", "LC_ALL=C.UTF-8 bash interrupt.sh");
  EXPECT_EQ(r.exit, 4);
  EXPECT_TRUE(r.out.empty()) << r.out;
  expect_one_line(r.err);
}

TEST_F(Measure, APassByLessThanItsUncertaintySaysSo) {
  // The level of noise is known no better than its length tells: 4.34 dB times sqrt(2 / samples in the band).
  synth::Samples noise(synth::count(2, 48000), 0.0F);
  synth::add_noise(noise, -30, 5);
  write_wav(folder.path / "noise.wav", 48000, {noise});
  const auto level = nlohmann::json::parse(run(folder, "measure noise.wav --json").out).at("readings");
  const auto rms =
      std::find_if(level.begin(), level.end(), [](const auto& r) { return r["id"] == "audio.level.rms"; });
  const double value = rms->at("value");
  const double u = rms->at("uncertainty");
  ASSERT_GT(u, 0.001);
  const auto judged = [&](double max) {
    std::ofstream(folder.path / "near.toml")
        << "title = \"near\"\n[[limit]]\nid = \"audio.level.rms\"\nmax = " << max << "\nsource = \"test\"\n";
    return run(folder, "measure noise.wav --limits near.toml").out;
  };
  // The table's first line, which the width may break.
  EXPECT_NE(judged(value + 0.5 * u).substr(0, 120).find("but by less"), std::string::npos);
  EXPECT_EQ(judged(value + 2 * u).substr(0, 120).find("but by less"), std::string::npos);
}

TEST_F(Measure, FullDiskIsSaid) {
  const auto r = run(folder, "measure tone.wav >/dev/full #");
  EXPECT_EQ(r.exit, 3);
}

TEST_F(Measure, PlainWhereThereIsNoTerminal) {
  const auto r = run(folder, "measure tone.wav --limits tight.toml", "LC_ALL=C.UTF-8 TERM=xterm-256color");
  EXPECT_EQ(r.out.find('\x1b'), std::string::npos);
  EXPECT_TRUE(r.err.empty()) << r.err;
}

TEST_F(Measure, ColourOnATerminalUnlessNoColor) {
  // script(1) gives the program a terminal.
  const auto on_terminal = [&](const std::string& environment) {
    const auto log = folder.path / "typescript";
    const std::string command = "cd '" + folder.path.string() + "' && env LC_ALL=C.UTF-8 " + environment +
                                " script -qec '" LINEBENCH_PROGRAM
                                " measure tone.wav --limits tight.toml' '" +
                                log.string() + "' >/dev/null 2>&1 </dev/null";
    (void)!std::system(command.c_str());
    return app_test::slurp(log);
  };
  if (std::system("command -v script >/dev/null 2>&1") != 0) GTEST_SKIP() << "script(1) is not installed";
  EXPECT_NE(on_terminal("TERM=xterm-256color").find("\x1b[1;31mFAIL"), std::string::npos);
  EXPECT_EQ(on_terminal("TERM=xterm-256color NO_COLOR=1").find("\x1b[1;31m"), std::string::npos);
  EXPECT_EQ(on_terminal("TERM=dumb").find("\x1b[1;31m"), std::string::npos);
  EXPECT_NE(on_terminal("TERM=xterm-256color NO_COLOR=").find("\x1b[1;31m"), std::string::npos);
}

TEST_F(Measure, AsciiWhereTheLocaleIsNotUtf8) {
  const auto r = run(folder, "measure tone.wav", "LC_ALL=C");
  EXPECT_TRUE(
      std::all_of(r.out.begin(), r.out.end(), [](char c) { return static_cast<unsigned char>(c) < 0x80; }));
}

TEST_F(Measure, TableFitsTheWidth) {
  for (const int width : {40, 60, 80}) {
    const auto r =
        run(folder, "measure tone.wav --limits speech-path", "LC_ALL=C COLUMNS=" + std::to_string(width));
    std::istringstream in(r.out);
    for (std::string line; std::getline(in, line);)
      EXPECT_LE(line.size(), static_cast<std::size_t>(width)) << line;
  }
}

TEST_F(Measure, HostileFileNameStaysText) {
  const std::string name = "<img src=x onerror=alert(1)>\x1b[2J.wav";
  std::filesystem::copy_file(folder.path / "tone.wav", folder.path / name);
  const auto r = run(folder, "measure '" + name + "' --html page.html");
  EXPECT_EQ(r.exit, 0);
  EXPECT_EQ(r.out.find('\x1b'), std::string::npos);
  const std::string page = app_test::slurp(folder.path / "page.html");
  EXPECT_EQ(page.find("<img"), std::string::npos);
  EXPECT_NE(page.find("&lt;img"), std::string::npos);
}

TEST_F(Measure, OddCaptures) {
  write_wav(folder.path / "silence.wav", 44100, {synth::Samples(44100, 0.0F)});
  write_wav(folder.path / "dc.wav", 96000, {synth::Samples(96000, 0.5F)});
  write_wav(folder.path / "six.wav", 48000, std::vector<synth::Samples>(6, tone(-18, 1)));
  write_wav(folder.path / "fast.wav", 192000, {tone(-18, 1, 192000), tone(-18, 1, 192000)});
  for (const char* file : {"silence.wav", "dc.wav", "six.wav", "fast.wav"}) {
    for (const char* set : {"speech-path", "professional-feed"}) {
      const auto r = run(folder, std::string("measure ") + file + " --html p.html --json --limits " + set);
      EXPECT_TRUE(r.exit == 0 || r.exit == 1) << file << ": " << r.err;
      EXPECT_TRUE(json::accept(r.out)) << file;
    }
  }
}

}  // namespace
