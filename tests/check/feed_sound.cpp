// What a feed's sound says beside readings out of limits: sides over time, what stands on a quiet lead, what
// was not taken in.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

json check_feed(const Folder& folder, const std::string& more = "") {
  // 0 dBFS = +24 dBu, as in feed.cpp.
  std::ofstream(folder.path / "answers.toml")
      << more << "\"feed.name\" = \"x\"\n\"feed.level\" = \"professional\"\n\"feed.full-scale\" = 17.37\n"
      << "\"checklist.after\" = \"all\"\n\"feed.again\" = \"no\"\n";
  const auto r = run(folder, "check feed --from-files . --json");
  EXPECT_FALSE(r.out.empty()) << r.err;
  return json::parse(r.out.empty() ? "{}" : r.out);
}

std::string outcome(const json& j) { return j.at("job").at("outcome"); }

bool says(const json& j, const std::string& weight, const std::string& what) {
  for (const auto& p : j.at("points")) {
    if (p.at("weight") == weight && p.at("what").get<std::string>().find(what) != std::string::npos)
      return true;
  }
  return false;
}

struct Taken {
  Folder folder;
  std::string sound = (folder.path / "feed.audio.wav").string();
  std::string quiet = (folder.path / "feed.quiet.wav").string();
  Taken() {
    check_test::programme(sound, -20);
    check_test::quiet(quiet);
  }
  // sox in place.
  static void change(const std::string& file, const std::string& how) {
    const std::string before = file + ".before.wav";
    std::filesystem::rename(file, before);
    check_test::sox("'" + before + "' -b 24 '" + file + "' " + how);
    std::filesystem::remove(before);
  }
};

// A plug that comes loose at 5 s: the right side fades to its hiss in 10 ms.
TEST(FeedSound, ASideThatDiesInTheMidstIsNotConnected) {
  const Taken t;
  ASSERT_EQ(outcome(check_feed(t.folder)), "connect");
  const std::string side = (t.folder.path / "right.wav").string(),
                    hiss = (t.folder.path / "hiss.wav").string();
  check_test::sox("'" + t.sound + "' '" + side + "' remix 2 fade t 0 5 0.01 pad 0 7");
  check_test::sox("-n -r 48000 -b 24 '" + hiss + "' synth 12 whitenoise vol -96dB");
  const std::string mixed = (t.folder.path / "mixed.wav").string(),
                    left = (t.folder.path / "left.wav").string();
  check_test::sox("-m -v 1 '" + side + "' -v 1 '" + hiss + "' -b 24 '" + mixed + "' trim 0 12");
  check_test::sox("'" + t.sound + "' '" + left + "' remix 1 trim 0 12");
  check_test::sox("-M '" + left + "' '" + mixed + "' -b 24 '" + t.sound + "'");
  const json j = check_feed(t.folder);
  EXPECT_EQ(outcome(j), "do not connect") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "stop", "the right side is silent from 5")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "good", "add up in mono"));
}

// What is not looked for is said of programme, and of a line-up tone there is nothing of the kind.
TEST(FeedSound, BreaksUnderOtherSoundAreSaidNotToHaveBeenLookedFor) {
  const Taken t;
  const json j = check_feed(t.folder);
  EXPECT_EQ(outcome(j), "connect");
  EXPECT_TRUE(says(j, "note", "while others sound on were not looked for")) << j.at("points").dump(1);
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + t.sound + "' synth 12 sine 1000 vol -20dB");
  EXPECT_FALSE(says(check_feed(t.folder), "note", "while others sound on"));
}

// Held to the noise limit of the same set, A-weighted [IEC 61672-1: 0 dB at 1 kHz, -4.8 dB at 400 Hz].
TEST(FeedSound, AToneThatStandsOnTheQuietLeadIsToldApartFromNoise) {
  const Taken t;
  for (const auto& [hz, db] : {std::pair{1000, -50}, {400, -55}, {8000, -58}}) {
    check_test::sox("-n -r 48000 -b 24 -c 2 '" + t.folder.path.string() + "/tone.wav' synth 6 sine " +
                    std::to_string(hz) + " vol " + std::to_string(db) + "dB");
    check_test::sox("-n -r 48000 -b 24 -c 2 '" + t.folder.path.string() +
                    "/hiss.wav' synth 6 whitenoise vol -96dB");
    check_test::sox("-m -v 1 '" + t.folder.path.string() + "/tone.wav' -v 1 '" + t.folder.path.string() +
                    "/hiss.wav' -b 24 '" + t.quiet + "'");
    const json j = check_feed(t.folder);
    EXPECT_EQ(outcome(j), "connect with a change") << hz << " Hz: " << j.at("points").dump(1);
    EXPECT_TRUE(says(j, "change", "A tone of " + std::to_string(hz) + " Hz")) << j.at("points").dump(1);
    EXPECT_FALSE(says(j, "change", "Tone level")) << j.at("points").dump(1);
  }
}

// Programme that was not stopped shows no noise: it clears none.
TEST(FeedSound, AQuietTakeFullOfProgrammeDecidesNothing) {
  const Taken t;
  std::filesystem::remove(t.quiet);
  check_test::programme(t.quiet, -22);
  Taken::change(t.quiet, "gain 0.1");
  const json j = check_feed(t.folder);
  EXPECT_EQ(outcome(j), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "was not quiet")) << j.at("points").dump(1);
}

TEST(FeedSound, OneChannelIsNoStereo) {
  const Taken t;
  Taken::change(t.sound, "remix 1");
  for (const char* use : {"stereo", "mono"}) {
    const json j = check_feed(t.folder, std::string("\"feed.use\" = \"") + use + "\"\n");
    EXPECT_EQ(outcome(j), "not decided") << use << j.at("points").dump(1);
    EXPECT_TRUE(says(j, "note", "One channel was taken in")) << j.at("points").dump(1);
  }
  EXPECT_EQ(outcome(check_feed(t.folder, "\"feed.use\" = \"one\"\n")), "connect");
  // And of the quiet take alone.
  check_test::programme(t.sound, -20);
  Taken::change(t.quiet, "remix 1");
  const json j = check_feed(t.folder);
  EXPECT_EQ(outcome(j), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "of the other side are not known")) << j.at("points").dump(1);
}

TEST(FeedSound, ATelephoneRateShowsNoHiss) {
  const Taken t;
  Taken::change(t.sound, "rate 16000");
  const json j = check_feed(t.folder);
  EXPECT_EQ(outcome(j), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "nothing above 8 kHz")) << j.at("points").dump(1);
}

// Three samples at 48 kHz are 62.5 us: the sum is nil at 1 / (2 x 62.5 us) = 8 kHz.
TEST(FeedSound, ASmallDelayBetweenTheSidesIsNotCalledNone) {
  const Taken t;
  const std::string left = (t.folder.path / "left.wav").string(),
                    right = (t.folder.path / "right.wav").string();
  check_test::sox("'" + t.sound + "' -b 24 '" + left + "' remix 1 trim 0 10");
  check_test::sox("'" + left + "' -b 24 '" + right + "' delay 3s trim 0 10");
  check_test::sox("-M '" + left + "' '" + right + "' -b 24 '" + t.sound + "'");
  const json j = check_feed(t.folder);
  EXPECT_FALSE(says(j, "good", "no delay")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "cancel at 8000 Hz")) << j.at("points").dump(1);
}

// A supply that motorboats at 8 Hz, and one that switches at 30 kHz: 1 % of programme at -20 dBFS, as is
// allowed of dc, is -60 dBFS.
TEST(FeedSound, WhatNoEarHearsIsToldToo) {
  const Taken t;
  const std::string f = t.folder.path.string();
  const auto stands = [&](int hz, int db, int rate) {
    check_test::sox("-r " + std::to_string(rate) + " -n -b 24 -c 2 '" + f + "/low.wav' synth 6 sine " +
                    std::to_string(hz) + " vol " + std::to_string(db) + "dB");
    check_test::sox("-r " + std::to_string(rate) + " -n -b 24 -c 2 '" + f +
                    "/hiss.wav' synth 6 whitenoise vol -96dB");
    check_test::sox("-m -v 1 '" + f + "/low.wav' -v 1 '" + f + "/hiss.wav' -b 24 '" + t.quiet + "'");
    return check_feed(t.folder);
  };
  for (const auto& [hz, rate] : {std::pair{8, 48000}, {30000, 96000}}) {
    const json j = stands(hz, -40, rate);
    EXPECT_EQ(outcome(j), "connect with a change") << hz << " Hz: " << j.at("points").dump(1);
    EXPECT_TRUE(says(j, "change", "below 20 Hz or above 20 kHz: -40.0 dBFS")) << j.at("points").dump(1);
    EXPECT_EQ(outcome(stands(hz, -75, rate)), "connect") << hz;
  }
  // One knock at the plug is none that stands there.
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + f + "/low.wav' synth 0.06 sine 8 vol -20dB pad 3 3");
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + f + "/hiss.wav' synth 6 whitenoise vol -96dB");
  check_test::sox("-m -v 1 '" + f + "/low.wav' -v 1 '" + f + "/hiss.wav' -b 24 '" + t.quiet + "'");
  EXPECT_FALSE(says(check_feed(t.folder), "change", "no ear hears"));
}

// A line rate that comes by the lead stands there with nothing playing as well [BT.1700: 15 625 Hz].
TEST(FeedSound, AWhistleOfTheProgrammeIsNotTheLeads) {
  const Taken t;
  const auto whistle = [&](const std::string& file) {
    const std::string alone = file + ".line.wav", before = file + ".before.wav";
    std::filesystem::rename(file, before);
    check_test::sox("-n -r 48000 -b 24 -c 2 '" + alone + "' synth 12 sine 15625 vol -66dB");
    check_test::sox("-m -v 1 '" + before + "' -v 1 '" + alone + "' -b 24 '" + file + "'");
    std::filesystem::remove(before);
    std::filesystem::remove(alone);
  };
  whistle(t.sound);
  const json played = check_feed(t.folder);
  EXPECT_EQ(outcome(played), "connect") << played.at("points").dump(1);
  EXPECT_TRUE(says(played, "note", "Line whistle")) << played.at("points").dump(1);
  whistle(t.quiet);
  const json led = check_feed(t.folder);
  EXPECT_EQ(outcome(led), "connect with a change") << led.at("points").dump(1);
  EXPECT_TRUE(says(led, "change", "Line whistle")) << led.at("points").dump(1);
}

}  // namespace
