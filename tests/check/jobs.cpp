// Looking jobs up and comparing them. The captures are sox's: a tone at levels that are known.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "app/run_program.hpp"
#include "sound_files.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;
namespace fs = std::filesystem;

constexpr const char* plan =
    "title = \"Short\"\ntypes = [\"post\"]\n[[test]]\nkey = \"level\"\ntitle = \"Level\"\nsignal = "
    "\"tone-1k\"\n"
    "limits = \"speech-path\"\n";

// A station of this serial whose tone comes back at a level; `more` are other answers.
void a_return(const Folder& folder, const std::string& serial, double db, const std::string& more,
              const std::string& key = "test.level", bool check = true) {
  fs::create_directories(folder.path / "home/plans");
  std::ofstream(folder.path / "home/plans/short.toml") << plan;
  // sox counts from a peak of 1: -18 dB is a sine of -18 dBFS as AES17 has it.
  const std::string tone = folder.path / "tone.wav", hiss = folder.path / "hiss.wav";
  check_test::sox("-n -r 48000 -b 24 -c 1 '" + tone + "' synth 12 sine 1000 vol " + std::to_string(db) +
                  "dB");
  check_test::sox("-n -r 48000 -b 24 -c 1 '" + hiss + "' synth 12 whitenoise vol -80dB");
  check_test::sox("-m -v 1 '" + tone + "' -v 1 '" + hiss + "' -b 24 '" +
                  (folder.path / (key + ".wav")).string() + "'");
  if (!check) return;
  std::ofstream(folder.path / "answers.toml")
      << "\"station.type\" = \"Post\"\n\"station.serial\" = \"" << serial
      << "\"\n\"checklist.before\" = \"all\"\n\"checklist.after\" = \"all\"\n"
      << more;
  const auto r = run(folder, "check station --from-files .");
  ASSERT_LE(r.exit, 1) << r.err;
}

std::string ref_of(const Folder& folder) {
  return json::parse(run(folder, "jobs show last --json").out).at("job").at("ref");
}

const json* change_of(const json& compared, const std::string& id) {
  for (const auto& place : compared.at("places")) {
    for (const auto& c : place.at("comparison").at("changes")) {
      if (c.at("id") == id) return &c;
    }
  }
  return nullptr;
}

TEST(JobsCompare, WhatWasMeasuredOnceIsSaidInWholeWords) {
  const Folder folder;
  a_return(folder, "A1", -30, "\"complaint\" = \"quiet\"\n\"station.next\" = \"done\"\n");
  const auto r = run(folder, "jobs compare last");
  EXPECT_NE(r.out.find("\nEverything in this job was measured once"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("\\n"), std::string::npos) << r.out;
}

TEST(JobsCompare, ACommandToGoOnWithNamesTheStore) {
  const Folder folder;
  ASSERT_EQ(run(folder, "jobs new feed --title x --store two.sqlite").exit, 0);
  const auto r = run(folder, "check site --job last --store two.sqlite");
  EXPECT_NE(r.err.find("--store two.sqlite"), std::string::npos) << r.err;
}

TEST(JobsCompare, TwoReturnsOfAStationDifferByWhatWasDone) {
  const Folder folder;
  a_return(folder, "A1", -40, "\"complaint\" = \"quiet\"\n\"station.next\" = \"fail\"\n");
  const std::string first = ref_of(folder);
  a_return(folder, "A1", -34, "\"station.next\" = \"done\"\n");
  const std::string second = ref_of(folder);
  const auto r = run(folder, "jobs compare " + first + " " + second + " --json");
  ASSERT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out);
  ASSERT_EQ(j.at("places").size(), 1u);
  const json* level = change_of(j, "audio.tone.level");
  ASSERT_NE(level, nullptr);
  // The two files differ by 6 dB.
  EXPECT_NEAR(level->at("difference").get<double>(), 6.0, 0.05);
  EXPECT_EQ(level->at("certainty"), "certain");
  EXPECT_EQ(level->at("change"), "more");
  const json* frequency = change_of(j, "audio.tone.frequency");
  ASSERT_NE(frequency, nullptr);
  EXPECT_EQ(frequency->at("change"), "same");
  const auto shown = run(folder, "jobs compare " + first + " " + second);
  EXPECT_NE(shown.out.find("certain"), std::string::npos) << shown.out;
  EXPECT_NE(shown.out.find(first), std::string::npos);
  EXPECT_EQ(shown.out.find("Not the same station"), std::string::npos);
}

TEST(JobsCompare, SameAgainIsNoChange) {
  const Folder folder;
  a_return(folder, "A1", -30, "\"station.next\" = \"done\"\n");
  const std::string first = ref_of(folder);
  a_return(folder, "B2", -30.02, "\"station.next\" = \"done\"\n");
  const auto r = run(folder, "jobs compare " + first + " last");
  ASSERT_EQ(r.exit, 0) << r.err;
  EXPECT_EQ(r.out.find("Changed, surest first"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("stayed within their uncertainty"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("Not the same station"), std::string::npos) << r.out;
}

TEST(JobsCompare, WithinAJobBeforeAndAfterTheRepair) {
  const Folder folder;
  a_return(folder, "A1", -30, "", "test.level.2", false);
  a_return(
      folder, "A1", -40,
      "\"station.next\" = \"repair\"\n\"station.repair\" = \"new coil\"\n\"station.next.2\" = \"done\"\n");
  const auto r = run(folder, "jobs compare last --json");
  ASSERT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out);
  const json* level = change_of(j, "audio.tone.level");
  ASSERT_NE(level, nullptr) << r.out;
  EXPECT_NEAR(level->at("difference").get<double>(), 10.0, 0.05);
}

TEST(JobsCompare, JobsOfTwoKindsAreRefused) {
  const Folder folder;
  ASSERT_EQ(run(folder, "jobs new site --title a").exit, 0);
  const std::string first = ref_of(folder);
  ASSERT_EQ(run(folder, "jobs new feed --title b").exit, 0);
  EXPECT_EQ(run(folder, "jobs compare " + first + " last").exit, 2);
}

TEST(JobsList, FindsAFaultOfAStationByWhatWasOutOfLimits) {
  const Folder folder;
  a_return(folder, "A1", -50, "\"complaint\" = \"quiet\"\n\"station.next\" = \"fail\"\n");
  a_return(folder, "B2", -30, "\"station.next\" = \"done\"\n");
  const json found = json::parse(run(folder, "jobs list --fault \"tone level\" --json").out).at("jobs");
  const json gain = json::parse(run(folder, "jobs list --fault gain --json").out).at("jobs");
  EXPECT_EQ(found.size() + gain.size() > 0, true);
  for (const auto& j : found) EXPECT_EQ(j.at("station").at("serial"), "A1");
  for (const auto& j : gain) EXPECT_EQ(j.at("station").at("serial"), "A1");
  EXPECT_TRUE(json::parse(run(folder, "jobs list --fault nonsense --json").out).at("jobs").empty());
}

TEST(JobsList, DaysAreOfTheCalendar) {
  const Folder folder;
  ASSERT_EQ(run(folder, "jobs new site --title x").exit, 0);
  for (const char* wrong : {"yesterday", "2026-02-31", "2026-13-01", "26-01-01", "2026-1-1"}) {
    const auto r = run(folder, std::string("jobs list --since ") + wrong);
    EXPECT_EQ(r.exit, 2) << wrong;
    EXPECT_NE(r.err.find("2026-11-01"), std::string::npos) << r.err;
    EXPECT_EQ(run(folder, std::string("jobs list --until ") + wrong).exit, 2) << wrong;
  }
  EXPECT_EQ(json::parse(run(folder, "jobs list --since 2024-02-29 --json").out).at("jobs").size(), 1u);
  EXPECT_TRUE(json::parse(run(folder, "jobs list --until 2024-02-29 --json").out).at("jobs").empty());
}

TEST(JobsList, ColumnsStandApartAndAStationIsNamedOnce) {
  const Folder folder;
  a_return(folder, "A1", -30, "\"complaint\" = \"dead at times\"\n\"station.next\" = \"done\"\n");
  ASSERT_EQ(run(folder, "jobs new feed --title Deck").exit, 0);
  const auto r = run(folder, "jobs list");
  std::istringstream lines(r.out);
  std::size_t result_at = 0, title_at = 0;
  for (std::string line; std::getline(lines, line);) {
    if (line.find("newest first") != std::string::npos) continue;
    const bool station = line.find("Post A1") != std::string::npos;
    const std::size_t result = line.find(station ? "no fault found  " : "open  ");
    const std::size_t title = line.find(station ? "Post A1" : "Deck");
    ASSERT_NE(result, std::string::npos) << line;
    ASSERT_NE(title, std::string::npos) << line;
    EXPECT_EQ(line.find("Post A1", title + 1), std::string::npos) << line;
    EXPECT_TRUE(result_at == 0 || (result_at == result && title_at == title)) << r.out;
    result_at = result;
    title_at = title;
  }
  EXPECT_GT(title_at, 0u);
}

TEST(JobsStore, NameWithASlipMakesNoEmptyStore) {
  const Folder folder;
  check_test::quiet(folder.path / "a.wav");
  ASSERT_EQ(run(folder, "jobs new site --title x --store jobs.sqlite").exit, 0);
  for (const char* words :
       {"jobs list", "jobs show last", "jobs export --out x.csv", "jobs copy --out y.sqlite",
        "jobs compare last", "report last --out z.html", "check site --job last", "jobs note last text",
        "measure a.wav --job last", "watch --from a.wav --job last"}) {
    const auto r = run(folder, std::string(words) + " --store jbos.sqlite");
    EXPECT_EQ(r.exit, 3) << words << r.err;
    EXPECT_NE(r.err.find("no job store"), std::string::npos) << words << r.err;
    EXPECT_FALSE(fs::exists(folder.path / "jbos.sqlite")) << words;
  }
  EXPECT_EQ(run(folder, "jobs list --store jobs.sqlite").exit, 0);
  // This user's own store before the first job: nothing there, and nothing made.
  EXPECT_EQ(run(folder, "jobs list").exit, 0);
  EXPECT_FALSE(fs::exists(folder.path / "home/jobs.sqlite"));
}

}  // namespace
