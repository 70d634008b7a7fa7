// A fault on site, followed by halves. The captures are sox's: speech of espeak-ng, mains as a row of sines.
#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <sstream>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "terminal.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

// An earth loop's hum: strong fundamental, odd multiples falling (common practice of rectifier loads).
void hum(const std::filesystem::path& file, double fundamental_db, int hiss_db = -80) {
  const std::string f = file.string();
  const auto vol = [&](double below) { return std::to_string(fundamental_db - below) + "dB"; };
  std::string mix = "-m";
  int n = 0;
  for (const auto& [hz, below] : {std::pair{50, 0.0}, {150, 7.0}, {250, 12.0}, {350, 18.0}, {100, 22.0}}) {
    const std::string part = f + "." + std::to_string(n++) + ".wav";
    check_test::sox("-n -r 16000 -b 24 '" + part + "' synth 8 sine " + std::to_string(hz) + " vol " +
                    vol(below));
    mix += " -v 1 '" + part + "'";
  }
  const std::string hiss = f + ".hiss.wav";
  check_test::sox("-n -r 16000 -b 24 '" + hiss + "' synth 8 whitenoise vol " + std::to_string(hiss_db) +
                  "dB");
  check_test::sox(mix + " -v 1 '" + hiss + "' -b 24 '" + f + "'");
  std::remove(hiss.c_str());
  for (int i = 0; i < n; ++i) std::remove((f + "." + std::to_string(i) + ".wav").c_str());
}

// A sound path: a trace of the mains and some hiss, as any has.
void clean(const std::filesystem::path& file) { hum(file, -92, -76); }

constexpr const char* answers = R"("site.name" = "Ferry terminal"
"site.path" = "Ticket counter 2"
"complaint" = "hum"
"site.seen" = "hum"
"site.where" = "one"
"site.parts" = "station, strip, cable, hub, line"
"site.trial.isolate-audio" = "gone"
"site.trial.earth-points" = "one"
"site.cure" = "yes"
"site.cure.1" = "yes"
"site.did.1" = "isolation transformer fitted"
"checklist.before" = "all"
"checklist.after" = "all"
)";

TEST(Site, FollowsHumByHalvesToItsSegmentAndCuresIt) {
  const Folder folder;
  clean(folder.path / "site.at.1.wav");
  for (const char* part : {"2", "3", "4", "5"})
    hum(folder.path / (std::string("site.at.") + part + ".wav"), -38);
  clean(folder.path / "site.after.1.wav");
  std::ofstream(folder.path / "answers.toml") << answers;
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "cured") << j.at("headline");
  ASSERT_FALSE(j.at("job").at("findings").empty());
  EXPECT_NE(j.dump().find("The fault comes in at strip"), std::string::npos) << j.at("points").dump(1);
  // By halves: not every part was measured (5 parts, one after the cure).
  EXPECT_LE(j.at("job").at("captures").size(), 5u);
  EXPECT_NE(r.err.find("Never lift or defeat a protective earth"), std::string::npos);
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  const std::string page = app_test::slurp(folder.path / "paper.html");
  for (const char* want :
       {"Along the path", "Before and after", "How it was connected", "isolation transformer fitted"})
    EXPECT_NE(page.find(want), std::string::npos) << want;
  const auto found = run(folder, "jobs list --fault earth --json");
  EXPECT_EQ(json::parse(found.out).at("jobs").size(), 1u);
}

TEST(Site, NothingWrongIsSaidAndNotMadeUp) {
  const Folder folder;
  clean(folder.path / "site.at.5.wav");
  std::ofstream(folder.path / "answers.toml") << answers;
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_EQ(json::parse(r.out).at("job").at("outcome"), "no fault found");
}

// What the capture after the work does not show is not cured by it: too short for hum, or another fault in
// it.
TEST(Site, ACaptureThatCannotShowTheCureProvesNone) {
  for (const char* after : {"trim 0 0.25", "synth 6 whitenoise vol -30dB"}) {
    const Folder folder;
    clean(folder.path / "site.at.1.wav");
    for (const char* part : {"2", "3", "4", "5"})
      hum(folder.path / (std::string("site.at.") + part + ".wav"), -38);
    clean(folder.path / "clean.wav");
    const std::string to = (folder.path / "site.after.1.wav").string();
    const bool made = std::string(after).starts_with("synth");
    check_test::sox((made ? "-n -r 48000 -b 24 '" : "'" + (folder.path / "clean.wav").string() + "' '") + to +
                    "' " + after);
    std::ofstream(folder.path / "answers.toml") << answers << "\"site.cure.2\" = \"no\"\n";
    const auto r = run(folder, "check site --from-files . --json");
    ASSERT_FALSE(r.out.empty()) << r.err;
    EXPECT_NE(json::parse(r.out).at("job").at("outcome"), "cured") << after;
  }
}

// A grabber locks to what comes and gives frames of the standard's lines: what is wrong with sync is not in
// them.
TEST(Site, ASoundPictureOfAGrabberSaysWhatItHides) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write video-bars-75 --frames 50 --out site.at.4.yuv").exit, 0);
  std::ofstream(folder.path / "answers.toml") << R"("site.name" = "Ferry terminal"
"site.path" = "Lane 3 camera"
"complaint" = "The picture rolls"
"site.seen" = "roll"
"site.where" = "one"
"site.system" = "625"
"site.parts" = "camera, cable to hub, hub, cable to monitor"
"checklist.after" = "all"
)";
  const auto r = run(folder, "check site --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "no fault found") << j.dump(1);
  EXPECT_NE(j.dump().find("digitiser or oscilloscope"), std::string::npos) << j.at("points").dump(1);
}

TEST(Site, CureThatChangesNothingIsNotCalledOne) {
  const Folder folder;
  clean(folder.path / "site.at.1.wav");
  for (const char* part : {"2", "3", "4", "5"})
    hum(folder.path / (std::string("site.at.") + part + ".wav"), -38);
  hum(folder.path / "site.after.1.wav", -38.2);
  std::ofstream(folder.path / "answers.toml") << answers << "\"site.cure.2\" = \"no\"\n";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "fault found");
  EXPECT_NE(j.dump().find("It is still there"), std::string::npos);
}

TEST(Site, TypedAtANarrowTerminalAndResumed) {
  const Folder folder;
  hum(folder.path / "end.wav", -38);
  const std::string home = folder.path / "home";
  std::filesystem::create_directory(home);
  std::ofstream(home + "/profile.toml") << "mains_hz = 60\n";
  check_test::Terminal t(home, {"check", "site"}, 60);
  ASSERT_TRUE(t.wait_for("Which site is it?")) << t.screen();
  t.line("Ferry / \"north\" terminal");
  ASSERT_TRUE(t.wait_for("Which path"));
  t.line("Lane 3");
  ASSERT_TRUE(t.wait_for("What was reported"));
  t.line("hums");
  ASSERT_TRUE(t.wait_for("What is seen or heard?"));
  t.line("hum");
  ASSERT_TRUE(t.wait_for("On how many paths"));
  t.line("1");
  ASSERT_TRUE(t.wait_for("parts of the path"));
  t.line("station");
  ASSERT_TRUE(t.wait_for("at least two"));
  t.line("station, cable, hub");
  ASSERT_TRUE(t.wait_for("at the end of hub"));
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("stop");
  EXPECT_EQ(t.finish(), 4);
  // No line is wider than the screen, prompts and the command to go on with left out.
  std::istringstream lines(t.screen());
  for (std::string line; std::getline(lines, line);) {
    if (line.find("(?): ") != std::string::npos || line.find("linebench check") != std::string::npos)
      continue;
    const auto columns = std::count_if(line.begin(), line.end(), [](char c) { return (c & 0xC0) != 0x80; });
    EXPECT_LE(columns, 61) << line;  // a carriage return counted
  }
  check_test::Terminal again(home, {"check", "site", "--job", "last"});
  ASSERT_TRUE(again.wait_for("at the end of hub")) << again.screen();
  again.line((folder.path / "end.wav").string());
  ASSERT_TRUE(again.wait_for("Measured: At the end of hub"));
  ASSERT_TRUE(again.wait_for("(?): "));
  again.line("stop");
  EXPECT_EQ(again.finish(), 4);
}

}  // namespace
