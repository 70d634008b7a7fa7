// Standard streams that are closed or full, files that are there already, and names that would steer a
// terminal.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>
#include <cstring>
#include <string>
#include <vector>

#include "app/run_program.hpp"

namespace {

using app_test::Folder;
using app_test::run;

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }
auto lines(const std::string& text) { return std::count(text.begin(), text.end(), '\n'); }

// A float WAV by the RIFF layout, so that any sample value can be in it.
void write_float_wav(const std::filesystem::path& path, const std::vector<float>& x) {
  const auto bytes = static_cast<std::uint32_t>(x.size() * 4);
  std::string s = "RIFF";
  const auto put = [&](auto v) { s.append(reinterpret_cast<const char*>(&v), sizeof v); };
  put(static_cast<std::uint32_t>(36 + bytes));
  s += "WAVEfmt ";
  put(std::uint32_t{16});
  put(std::uint16_t{3});  // IEEE float
  put(std::uint16_t{1});
  put(std::uint32_t{48000});
  put(std::uint32_t{192000});
  put(std::uint16_t{4});
  put(std::uint16_t{32});
  s += "data";
  put(bytes);
  s.append(reinterpret_cast<const char*>(x.data()), bytes);
  std::ofstream(path, std::ios::binary) << s;
}

TEST(Streams, StandardErrorThatCannotBeWrittenChangesNothing) {
  const Folder folder;
  for (const char* shut : {"2>&-", "2>/dev/full"}) {
    // The command after it keeps the test's own redirection from undoing it.
    const std::string then = std::string(" >out ") + shut + "; exit $?; true";
    EXPECT_EQ(run(folder, "measure nothing.wav" + then).exit, 3) << shut;
    EXPECT_EQ(run(folder, "no-such-command" + then).exit, 2) << shut;
    EXPECT_EQ(run(folder, "signals list" + then).exit, 0) << shut;
  }
}

TEST(Streams, AFileMadeWhileStandardErrorIsClosedHoldsNoneOfIt) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav").exit, 0);
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out b.wav >out 2>&-; exit $?; true").exit, 0);
  EXPECT_EQ(app_test::slurp(folder.path / "a.wav"), app_test::slurp(folder.path / "b.wav"));
}

TEST(Streams, StandardOutputThatCannotBeWrittenIsOneLineAndThree) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav").exit, 0);
  for (const char* shut : {">/dev/full", ">&-"}) {
    for (const char* words : {"measure a.wav", "measure a.wav --json", "signals list", "signals list --json",
                              "signals show tone-1k", "devices", "--help", "measure --help", "--version"}) {
      const auto r =
          run(folder, std::string(words) + " " + shut + " 2>err; exit $?; true", "JACK_NO_START_SERVER=1");
      EXPECT_EQ(r.exit, 3) << words << shut;
      const std::string err = app_test::slurp(folder.path / "err");
      EXPECT_EQ(lines(err), 1) << words << shut << ": " << err;
      EXPECT_TRUE(has(err, "standard output: ")) << err;
    }
  }
}

TEST(Streams, AReaderThatLeavesIsNoError) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav").exit, 0);
  const auto r = run(folder, "measure a.wav 2>err | true; true");
  EXPECT_EQ(app_test::slurp(folder.path / "err"), "");
}

TEST(Files, OneThatIsThereIsNotReplacedUnasked) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav").exit, 0);
  std::filesystem::create_directory(folder.path / "d");
  for (const char* words :
       {"signals write tone-1k --seconds 1 --out a.wav", "signals write video-bars-75 --out a.wav",
        "capture audio --from any --seconds 1 --out a.wav", "loop --from any --to any --out a.wav",
        "signals write tone-1k --seconds 1 --out d --replace",
        "capture audio --from any --seconds 1 --out d --replace"}) {
    const auto r = run(folder, words, "JACK_NO_START_SERVER=1");
    EXPECT_EQ(r.exit, 2) << words << ": " << r.err;
    EXPECT_EQ(lines(r.err), 1) << r.err;
  }
  EXPECT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav --replace").exit, 0);
}

TEST(Options, WhatCannotBeMeantIsRefused) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav").exit, 0);
  for (const char* words :
       {"measure a.wav --signal nope", "measure a.wav --signal video-bars-75",
        "loop --from any --to any --rate 0", "loop --from any --to any --rate nan",
        "loop --from any --to any --signal video-bars-75", "loop --from any --to any --signal nope",
        "capture audio --from any --seconds 1 --out z.wav --rate 0",
        "signals send tone-1k --to any --rate -1", "signals send video-bars-75 --to any --rate 0",
        "calibrate --device any --loop --rate 0", "signals write tone-1k --out z.wav --rate 0"}) {
    const auto r = run(folder, words, "JACK_NO_START_SERVER=1");
    EXPECT_EQ(r.exit, 2) << words << ": " << r.err;
    EXPECT_EQ(lines(r.err), 1) << r.err;
  }
}

TEST(Names, ThatWouldSteerATerminalAreShownAsText) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write tone-1k --seconds 1 --out a.wav").exit, 0);
  const std::string name = "lane\n1\x1b[31m.wav";
  const auto missing = run(folder, "measure '" + name + "'");
  EXPECT_EQ(missing.exit, 3);
  EXPECT_EQ(missing.err, "linebench: lane\\n1\\x1b[31m.wav: no such file; check the name\n");
  std::filesystem::copy_file(folder.path / "a.wav", folder.path / name);
  const auto there = run(folder, "measure '" + name + "'");
  EXPECT_TRUE(has(there.out, "lane\\n1\\x1b[31m.wav")) << there.out;
  EXPECT_FALSE(has(there.out, "\x1b"));
}

TEST(Samples, FarBeyondFullScaleAreRefusedWithTheirTime) {
  const Folder folder;
  std::vector<float> x(48000, 0.1F);
  x[12000] = -32768.0F;
  write_float_wav(folder.path / "scaled.wav", x);
  const auto r = run(folder, "measure scaled.wav");
  EXPECT_EQ(r.exit, 3);
  EXPECT_EQ(lines(r.err), 1) << r.err;
  EXPECT_TRUE(has(r.err, "-32768 at 0.250000 s")) << r.err;
  x[12000] = 3.0F;  // over full scale, as floats may be
  write_float_wav(folder.path / "hot.wav", x);
  EXPECT_EQ(run(folder, "measure hot.wav").exit, 0);
}

TEST(SignalsList, NamesABadRecipeAndListsTheOthers) {
  const Folder folder;
  const auto store = folder.path / "home" / "signals";
  std::filesystem::create_directories(store / "folder.toml");
  const std::string head = "title = \"t\"\npurpose = \"p\"\nsource = \"s\"\nkind = \"sine\"\n[parameters]\n";
  std::ofstream(store / "too-high.toml") << "name = \"too-high\"\n" << head << "frequency_hz = 30000\n";
  std::ofstream(store / "misspelt.toml") << "name = \"misspelt\"\n" << head << "frequenzy_hz = 3\n";
  std::ofstream(store / "mine.toml") << "name = \"mine\"\n" << head << "frequency_hz = 440\n";
  const auto r = run(folder, "signals list");
  EXPECT_EQ(r.exit, 0);
  EXPECT_EQ(lines(r.err), 2) << r.err;
  EXPECT_TRUE(has(r.err, "too-high.toml")) << r.err;
  EXPECT_TRUE(has(r.err, "misspelt.toml")) << r.err;
  for (const char* name : {"\nmine ", "\nalignment-r68 ", "\nvideo-window ", "\ntone-997 "})
    EXPECT_TRUE(has(r.out, name)) << name;
}

}  // namespace
