// What the segment says of the fault, and what is left of a cure. The captures are sox's.
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

// A source, by sox's own words, over the path's hiss; no recording twice, as sox is told another level each
// time.
void take(const Folder& folder, const std::string& key, const std::string& source, double hiss_db = -85) {
  static int taken = 0;
  ++taken;
  const std::string f = (folder.path / (key + ".wav")).string();
  check_test::sox("-n -r 48000 -b 24 '" + f + ".n.wav' synth " + std::to_string(20 + taken % 7) +
                  " whitenoise vol " + std::to_string(hiss_db) + "dB trim " + std::to_string(1 + taken % 7) +
                  " 12");
  if (source.empty()) {
    std::filesystem::rename(f + ".n.wav", f);
    return;
  }
  check_test::sox("-n -r 48000 -b 24 '" + f + ".s.wav' " + source + " vol -0." +
                  std::to_string(1 + taken % 7) + "dB");
  check_test::sox("-m -v 1 '" + f + ".s.wav' -v 1 '" + f + ".n.wav' -b 24 '" + f + "'");
  std::remove((f + ".s.wav").c_str());
  std::remove((f + ".n.wav").c_str());
}

// The places before `from` have `good`, those from it on `bad`.
void along(const Folder& folder, int from, const std::string& good, const std::string& bad, int parts = 4) {
  for (int i = 1; i <= parts; ++i) take(folder, "site.at." + std::to_string(i), i < from ? good : bad);
}

json job(const Folder& folder, const std::string& seen, const std::string& more = "",
         const std::string& parts = "station, cable to hub, hub, line to master") {
  std::ofstream(folder.path / "answers.toml")
      << "\"site.name\" = \"Ferry terminal\"\n\"site.path\" = \"Counter 2\"\n\"complaint\" = "
         "\"odd\"\n\"site.seen\" = \""
      << seen << "\"\n\"site.where\" = \"one\"\n\"site.parts\" = \"" << parts
      << "\"\n\"checklist.before\" = \"all\"\n\"checklist.after\" = \"all\"\n"
      << more;
  const auto r = run(folder, "check site --from-files . --json");
  return r.out.empty() ? json{{"error", r.err.substr(r.err.size() > 600 ? r.err.size() - 600 : 0)}}
                       : json::parse(r.out);
}

bool says(const json& j, const std::string& text) {
  return j.at("headline").get<std::string>().find(text) != std::string::npos ||
         j.at("points").dump().find(text) != std::string::npos;
}

constexpr const char* no_cure = "\"site.cure.1\" = \"no\"\n";
constexpr const char* tone = "synth 12 sine 1000 vol -30dB";
// A row of sines as an earth loop's (common practice of rectifier loads), in thirds of its level.
std::string hum(double mains_hz, double db) {
  const auto f = [&](int n) { return std::to_string(n * mains_hz); };
  return "synth 12 sine " + f(1) + " synth 12 sine mix " + f(3) + " synth 12 sine mix " + f(5) + " vol " +
         std::to_string(db) + "dB";
}

// A weak trace of hum comes in early and the hum that is complained of at the end: that is where it is looked
// for, and the trace is said with its own level (the powers: a thousandth and less of what is heard).
TEST(SiteSegment, WhereMostOfItComesInIsTheSegment) {
  const Folder folder;
  take(folder, "site.at.1", "");
  take(folder, "site.at.2", hum(50, -45));
  take(folder, "site.at.3", hum(50, -45.5));
  take(folder, "site.at.4", hum(50, -18));
  const json j = job(folder, "hum", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_NE(j.at("headline").get<std::string>().find("line to master"), std::string::npos)
      << j.at("headline");
  EXPECT_TRUE(says(j, "has far less of it")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "this comes in at cable to hub")) << j.at("points").dump(1);
}

// The source stands three parts before the place where tops begin to be cut.
TEST(SiteSegment, ASourceThatWasMeasuredGoodIsNotBlamed) {
  const Folder folder;
  along(folder, 4, tone, "synth 12 sine 1000 vol -0.1dB vol 4dB vol -34dB");
  const json j = job(folder, "harsh", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "fault found");
  EXPECT_TRUE(says(j, "line to master")) << j.dump(1);
  // A path is good: in a tool of sound the other adjective reads as the noun.
  EXPECT_FALSE(says(j, "is sound")) << j.at("points").dump(1);
  for (const char* source : {"Programme source", "Professional source"})
    EXPECT_FALSE(says(j, source)) << j.at("points").dump(1);
}

// The same card was clean where the breaks were not yet: it does not make them. Twelve breaks of 3 to 14 ms
// at uneven times.
TEST(SiteSegment, ACardThatWasCleanBeforeIsNotBlamed) {
  const Folder folder;
  along(folder, 2, tone, tone);
  for (int i = 2; i <= 4; ++i)
    check_test::breaks(folder.path / ("site.at." + std::to_string(i) + ".wav"),
                       {.seed = 4, .count = 12, .shortest_s = .003, .longest_s = .014, .left = .01});
  const json j = job(folder, "crackle", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "fault found") << j.dump(1);
  EXPECT_TRUE(says(j, "comes in at cable to hub")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "connector")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "The sound card or grabber itself")) << j.at("points").dump(1);
}

// A unit lets nothing through when it is off, muted or on another input; a pair is shorted in a cable.
TEST(SiteSegment, NoCableFaultInAUnit) {
  const Folder unit;
  along(unit, 3, tone, "");
  json j = job(unit, "silent", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "fault found");
  EXPECT_FALSE(says(j, "Shorted pair")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "Unit off, muted or on another input")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "comes in at hub")) << j.at("points").dump(1);
  const Folder cable;
  along(cable, 2, tone, "");
  j = job(cable, "silent", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_TRUE(says(j, "Shorted pair")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "Unit off")) << j.at("points").dump(1);
}

// The end is 32 dB worse than the hub, whose trace of hum is within limits and no healthy path's by the book:
// it was said to come in at the hub, and at the line "as a fault of its own".
TEST(SiteSegment, ATraceWithinLimitsIsNotWhereTheFaultComesIn) {
  const Folder folder;
  for (int i = 1; i <= 4; ++i) {
    const std::string f = "site.at." + std::to_string(i);
    take(folder, f, i < 3 ? "" : hum(50, i == 3 ? -66 : -30));
  }
  const json j = job(folder, "hum", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_TRUE(says(j, "comes in at line to master")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "of its own")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "comes in at hub")) << j.at("points").dump(1);
}

// Rectangular bursts have flat tops of their own.
TEST(SiteSegment, PhoneBurstsAreNoClippedProgramme) {
  const Folder folder;
  along(folder, 3, "", "synth 12 square 216.68 0 0 12.5 vol -36dB");
  const json j = job(folder, "phone", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_TRUE(says(j, "Mobile phone")) << j.at("points").dump(1);
  for (const char* other : {"ource is clipped", "sound card or grabber"})
    EXPECT_FALSE(says(j, other)) << j.at("points").dump(1);
}

// Nothing was sent: it is no test tone that has lost level.
TEST(SiteSegment, AWhistleIsFollowedToWhereItComesIn) {
  const Folder folder;
  along(folder, 3, "", "synth 12 sine 9731 vol -45dB");
  const json j = job(folder, "whistle", no_cure);
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_TRUE(says(j, "comes in at hub")) << j.dump(1);
  EXPECT_FALSE(says(j, "too quiet") || says(j, "loses level")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "with nothing sent")) << j.at("points").dump(1);
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  const std::string page = app_test::slurp(folder.path / "paper.html");
  EXPECT_EQ(page.find("too loud"), std::string::npos);
  EXPECT_NE(page.find("a tone stands on the path"), std::string::npos);
}

// Two parts of one name are two parts.
TEST(SiteSegment, PartsOfOneNameAreNumbered) {
  const Folder folder;
  along(folder, 4, "", hum(50, -38), 5);
  const json j = job(folder, "hum", no_cure, "station, cable, hub, cable, master");
  ASSERT_TRUE(j.contains("headline")) << j.dump(1);
  EXPECT_TRUE(says(j, "comes in at cable 2")) << j.at("points").dump(1);
}

TEST(SiteSegment, HumOfAnotherFrequencyIsNotTheMains) {
  for (const double mains : {60.0, 52.3, 50.2}) {
    const Folder folder;
    along(folder, 2, "", hum(mains, -38));
    const json j = job(folder, "hum", no_cure);
    ASSERT_TRUE(j.contains("headline")) << j.dump(1);
    EXPECT_EQ(says(j, "does not come from this mains"), mains > 51) << mains << j.at("points").dump(1);
  }
}

// 20 dB less and within its limit: whether that is enough an ear decides.
TEST(SiteSegment, WithinLimitsAfterACureIsSaid) {
  for (const auto& [answer, outcome] :
       {std::pair{"gone", "cured"}, {"still", "fault found"}, {"unknown", "not explained"}}) {
    const Folder folder;
    along(folder, 2, "", hum(50, -38));
    take(folder, "site.after.1", hum(50, -62));
    const json j =
        job(folder, "hum",
            std::string("\"site.cure.1\" = \"yes\"\n\"site.did.1\" = \"moved the cable\"\n"
                        "\"site.cure.2\" = \"no\"\n\"site.carries.1\" = \"yes\"\n\"site.left.1\" = \"") +
                answer + "\"\n");
    ASSERT_TRUE(j.contains("headline")) << j.dump(1);
    EXPECT_EQ(j.at("job").at("outcome"), outcome) << answer << j.at("points").dump(1);
    EXPECT_TRUE(says(j, "ithin its limits")) << answer << j.dump(1);
  }
}

}  // namespace
