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

using check_test::hum;

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
"site.carries.1" = "yes"
"checklist.before" = "all"
"checklist.after" = "all"
)";

TEST(Site, FollowsHumByHalvesToItsSegmentAndCuresIt) {
  const Folder folder;
  clean(folder.path / "site.at.1.wav");
  check_test::loud_from_second(folder.path);
  hum(folder.path / "site.after.1.wav", -91, -76);
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

// Somebody heard a hum: one clean capture says only where it is not, and when.
TEST(Site, AComplaintIsNotUndoneByOneCleanCapture) {
  const Folder folder;
  clean(folder.path / "site.at.5.wav");
  std::ofstream(folder.path / "answers.toml")
      << answers << "\"site.view.while\" = \"skip it is quiet today\"\n";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("verdict"), "incomplete");
  EXPECT_EQ(j.at("job").at("outcome"), "not explained");
  const std::string told = j.at("points").dump();
  for (const char* want : {"it is quiet today", "with another signal", "Beyond the end of line", "Long run"})
    EXPECT_NE(told.find(want), std::string::npos) << want << j.at("points").dump(1);
}

// Long runs of a tone, made by sox.
void tone_run(const std::filesystem::path& file, int seconds, const std::string& effects = "") {
  const std::string f = file.string();
  check_test::sox("-n -r 16000 -b 24 '" + f + ".tone.wav' synth " + std::to_string(seconds) +
                  " sine 1000 vol -30dB " + effects);
  hum(f + ".hiss.wav", -92, -76);
  check_test::sox("-n -r 16000 -b 24 '" + f + ".noise.wav' synth " + std::to_string(seconds) +
                  " whitenoise vol -80dB");
  check_test::sox("-m -v 1 '" + f + ".tone.wav' -v 1 '" + f + ".noise.wav' -b 24 '" + f + "'");
  for (const char* part : {".tone.wav", ".hiss.wav", ".noise.wav"}) std::remove((f + part).c_str());
}

TEST(Site, NoFaultFoundIsSaidOnlyAfterEveryLook) {
  const Folder folder;
  clean(folder.path / "site.at.5.wav");
  hum(folder.path / "site.view.while.wav", -93, -76);
  tone_run(folder.path / "site.view.other.wav", 10);
  hum(folder.path / "site.view.beyond.wav", -91, -76);
  tone_run(folder.path / "site.view.soak.wav", 40);
  std::ofstream(folder.path / "answers.toml") << answers << "\"site.soak-hours\" = 0.011\n";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "no fault found") << j.at("points").dump(1);
  EXPECT_NE(j.at("headline").get<std::string>().find("'hum'"), std::string::npos) << j.at("headline");
  // A recording that ends before its time looked at nothing.
  std::ofstream(folder.path / "answers.toml") << answers << "\"site.soak-hours\" = 1\n";
  const json brief = json::parse(run(folder, "check site --from-files . --json").out);
  EXPECT_EQ(brief.at("job").at("outcome"), "not explained") << brief.at("points").dump(1);
}

TEST(Site, HumThatIsThereOnlyAtTimesIsFollowedFromThen) {
  const Folder folder;
  clean(folder.path / "site.at.5.wav");
  hum(folder.path / "site.view.while.wav", -38);
  hum(folder.path / "site.at.1.wav", -91.5, -76);
  for (const auto& [part, db] : {std::pair{"2", -38.4}, {"3", -38.2}, {"4", -38.1}})
    hum(folder.path / (std::string("site.at.") + part + ".wav"), db, -77);
  hum(folder.path / "site.after.1.wav", -91, -76);
  std::ofstream(folder.path / "answers.toml") << answers;
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "cured") << j.at("points").dump(1);
  EXPECT_NE(j.dump().find("The fault comes in at strip"), std::string::npos) << j.at("points").dump(1);
}

TEST(Site, HumBeyondTheEndIsTheLastUnits) {
  const Folder folder;
  clean(folder.path / "site.at.5.wav");
  hum(folder.path / "site.view.beyond.wav", -38);
  std::string no_cure = answers;
  no_cure.replace(no_cure.find("\"site.cure.1\" = \"yes\""), 21, "\"site.cure.1\" = \"no\"");
  std::ofstream(folder.path / "answers.toml") << no_cure;
  const auto r = run(folder, "check site --from-files . --json");
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "fault found") << j.at("points").dump(1);
  EXPECT_NE(j.dump().find("The fault comes in at what follows line"), std::string::npos)
      << j.at("points").dump(1);
}

TEST(Site, ALongRunThatShowsItIsAFault) {
  const Folder folder;
  clean(folder.path / "site.at.5.wav");
  tone_run(folder.path / "site.view.soak.wav", 60, "fade l 0 60 59");
  std::ofstream(folder.path / "answers.toml") << answers << "\"site.soak-hours\" = 0.0166\n";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "fault found") << j.at("points").dump(1);
  EXPECT_NE(j.at("headline").get<std::string>().find("long run"), std::string::npos);
}

// A quarter of a second is too little for hum: it is asked for again, and clears nothing.
TEST(Site, TooShortAFirstCaptureIsAskedForAgain) {
  const Folder folder;
  clean(folder.path / "whole.wav");
  check_test::sox("'" + (folder.path / "whole.wav").string() + "' '" +
                  (folder.path / "site.at.5.wav").string() + "' trim 0 0.25");
  hum(folder.path / "site.again.1.wav", -38);
  clean(folder.path / "site.at.1.wav");
  for (const auto& [part, db] : {std::pair{"2", -38.4}, {"3", -38.2}, {"4", -38.1}})
    hum(folder.path / (std::string("site.at.") + part + ".wav"), db, -77);
  hum(folder.path / "site.after.1.wav", -91, -76);
  std::ofstream(folder.path / "answers.toml") << answers;
  const auto r = run(folder, "check site --from-files . --json");
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "cured") << r.err << j.at("points").dump(1);
  std::filesystem::remove(folder.path / "site.again.1.wav");
  const json open = json::parse(run(folder, "check site --from-files . --json").out);
  EXPECT_EQ(open.at("job").at("outcome"), "not explained") << open.at("points").dump(1);
}

// What the capture after the work does not show is not cured by it: too short for hum, or another fault in
// it.
TEST(Site, ACaptureThatCannotShowTheCureProvesNone) {
  for (const char* after : {"trim 0 0.25", "synth 6 whitenoise vol -30dB"}) {
    const Folder folder;
    clean(folder.path / "site.at.1.wav");
    check_test::loud_from_second(folder.path);
    hum(folder.path / "clean.wav", -91, -76);
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
  EXPECT_EQ(j.at("job").at("outcome"), "not explained") << j.dump(1);
  EXPECT_NE(j.dump().find("digitiser or oscilloscope"), std::string::npos) << j.at("points").dump(1);
  EXPECT_NE(r.err.find("as a waveform"), std::string::npos) << r.err;
}

TEST(Site, CureThatChangesNothingIsNotCalledOne) {
  const Folder folder;
  clean(folder.path / "site.at.1.wav");
  check_test::loud_from_second(folder.path);
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
  // The next job on this path is offered its parts; another path's are asked for.
  check_test::Terminal next(home, {"check", "site"});
  for (const auto& [ask, line] : {std::pair("Which site is it?", "ferry / \"north\" terminal"),
                                  {"Which path", "LANE 3"},
                                  {"What was reported", "hums again"},
                                  {"What is seen or heard?", "hum"},
                                  {"On how many paths", "1"}}) {
    ASSERT_TRUE(next.wait_for(ask)) << next.screen();
    next.line(line);
  }
  ASSERT_TRUE(next.wait_for("[station, cable, hub]")) << next.screen();
  next.line("");
  ASSERT_TRUE(next.wait_for("at the end of hub")) << next.screen();
  next.line("change site.path");
  ASSERT_TRUE(next.wait_for("Which path"));
  next.line("stop");
  EXPECT_EQ(next.finish(), 4);
}

// A transformer in the line that changes nothing speaks against a loop by the shield: it is tried once more
// before anything is changed, and the cure waits meanwhile.
TEST(Site, ATrialAgainstTheRecordingsIsMadeOnceMore) {
  const Folder folder;
  clean(folder.path / "site.at.1.wav");
  check_test::loud_from_second(folder.path);
  std::string against = answers;
  against.resize(against.find("\"site.cure"));
  against.replace(against.find("\"gone\""), 6, "\"same\"");
  std::ofstream(folder.path / "answers.toml")
      << against << "\"site.cure.1\" = \"no\"\n\"checklist.after\" = \"all\"\n";
  const auto skipped = run(folder, "check site --from-files . --json");
  EXPECT_NE(skipped.err.find("Before anything is changed, once more"), std::string::npos) << skipped.err;
  const json open = json::parse(skipped.out);
  const std::string held = open.at("points").dump();
  EXPECT_NE(held.find("speaks against this fault"), std::string::npos) << open.at("points").dump(1);

  std::ofstream(folder.path / "answers.toml") << against
                                              << "\"site.cure.1\" = \"no\"\n\"checklist.after\" = "
                                                 "\"all\"\n\"site.trial.isolate-audio.again\" = \"gone\"\n";
  const auto other = run(folder, "check site --from-files . --json");
  const json changed = json::parse(other.out);
  EXPECT_EQ(changed.at("points").dump().find("speaks against this fault"), std::string::npos)
      << changed.at("points").dump(1);
  EXPECT_NE(changed.at("points").dump().find("Earth"), std::string::npos) << changed.at("points").dump(1);
}

// What is typed at a look or a meter is complained of in the words of the step.
TEST(Site, AWrongMeterReadingIsSaidWithoutOptions) {
  const Folder folder;
  check_test::loud_from_second(folder.path);
  clean(folder.path / "site.at.1.wav");
  std::string left = answers;
  left.resize(left.find("\"site.trial"));
  std::ofstream(folder.path / "answers.toml") << left << "\"site.trial.earth-current\" = \"12 banana\"\n";
  const auto r = run(folder, "check site --from-files .");
  EXPECT_EQ(r.exit, 3);
  EXPECT_NE(r.err.find("'12 banana': \"banana\" is not its unit; type it as VALUE"), std::string::npos)
      << r.err;
  EXPECT_EQ(r.err.find("--observed"), std::string::npos) << r.err;
  // Left out after that, it stays on record: a meter showed something.
  std::ofstream(folder.path / "home/profile.toml") << "mains_hz = 50\n";
  check_test::Terminal t((folder.path / "home").string(), {"check", "site", "--job", "last"});
  for (const char* line : {"12 banana", ""}) {
    ASSERT_TRUE(t.wait_for("Answer (?): ")) << t.screen();
    t.line(line);
  }
  ASSERT_TRUE(t.wait_for("Step ")) << t.screen();
  ASSERT_TRUE(t.wait_for("(?): ")) << t.screen();
  t.line("stop");
  EXPECT_EQ(t.finish(), 4);
  const auto shown = run(folder, "jobs show last");
  EXPECT_NE(shown.out.find("'12 banana'"), std::string::npos) << shown.out;
}

// A path that carries nothing has no hum: a pulled plug measures like the best of cures.
TEST(Site, AHumThatWentWithTheSignalIsNotCured) {
  const Folder folder;
  check_test::loud_from_second(folder.path);
  clean(folder.path / "site.at.1.wav");
  check_test::sox("-n -r 16000 -b 24 '" + (folder.path / "site.after.1.wav").string() +
                  "' synth 10 whitenoise vol -100dB");
  std::string dead = answers;
  dead.replace(dead.find("\"site.carries.1\" = \"yes\""), 24, "\"site.carries.1\" = \"no\"");
  std::ofstream(folder.path / "answers.toml") << dead << "\"site.cure.2\" = \"no\"\n";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "carries nothing") << j.at("points").dump(1);
  EXPECT_NE(j.at("headline").get<std::string>().find("carries nothing"), std::string::npos)
      << j.at("headline");
}

// 1 kHz at this level over the path's own hiss, sent in at its start.
void tone(const std::filesystem::path& file, double db, const std::string& effects = "") {
  const std::string f = file.string();
  check_test::sox("-n -r 48000 -b 24 '" + f + ".t.wav' synth 12 sine 1000 vol " + std::to_string(db) + "dB");
  check_test::sox("-n -r 48000 -b 24 '" + f + ".n.wav' synth 12 whitenoise vol -85dB");
  check_test::sox("-m -v 1 '" + f + ".t.wav' -v 1 '" + f + ".n.wav' -b 24 '" + f + "' " + effects);
  std::remove((f + ".t.wav").c_str());
  std::remove((f + ".n.wav").c_str());
}

// A unit that takes 10 dB off: no fault of the book by itself, and the plain answer to "too quiet".
TEST(Site, WhatIsOutOfItsLimitsIsFollowedByHalvesToo) {
  const Folder folder;
  for (const auto& [part, db] :
       {std::pair{"1", -30.0}, {"2", -30.1}, {"3", -40.0}, {"4", -40.1}, {"5", -40.2}})
    tone(folder.path / (std::string("site.at.") + part + ".wav"), db);
  tone(folder.path / "site.after.1.wav", -30.2);
  std::ofstream(folder.path / "answers.toml") << R"("site.name" = "Ferry terminal"
"site.path" = "Ticket counter 2"
"complaint" = "too quiet"
"site.seen" = "level"
"site.where" = "one"
"site.parts" = "station, cable, hub, line, master"
"site.cure.1" = "yes"
"site.did.1" = "gain of the hub set"
"checklist.before" = "all"
"checklist.after" = "all"
)";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_NE(r.err.find("The fault comes in at hub"), std::string::npos) << r.err;
  EXPECT_EQ(r.err.find("Nothing wrong was taken in"), std::string::npos) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "cured") << j.at("points").dump(1);
  EXPECT_NE(j.at("points").dump().find("Within its limits now"), std::string::npos) << j.at("points").dump(1);
  EXPECT_EQ(j.at("points").dump().find("No fault before"), std::string::npos) << j.at("points").dump(1);
  EXPECT_LE(j.at("job").at("captures").size(), 5u);
}

// Where no hum at all is left there is nothing to measure: that is the best of cures.
TEST(Site, HumThatIsGoneAltogetherIsCured) {
  const Folder folder;
  check_test::loud_from_second(folder.path);
  clean(folder.path / "site.at.1.wav");
  check_test::sox("-n -r 16000 -b 24 '" + (folder.path / "site.after.1.wav").string() +
                  "' synth 10 whitenoise vol -78dB");
  std::ofstream(folder.path / "answers.toml") << answers << "\"site.cure.2\" = \"no\"\n";
  const auto r = run(folder, "check site --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  EXPECT_EQ(json::parse(r.out).at("job").at("outcome"), "cured") << json::parse(r.out).at("points").dump(1);
}

}  // namespace
