// The programme-feed job on captures of known state: from a folder of files, and typed at a terminal.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "terminal.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

// 0 dBFS = +24 dBu (17.37 V peak), so that -20 dBFS is +4 dBu: 24 - 20, by the definition of dBu (0.7746 V).
constexpr const char* answers = R"("feed.name" = "Passenger information"
"site.name" = "Ferry terminal"
"feed.level" = "professional"
"feed.full-scale" = 17.37
"checklist.after" = "all"
"feed.again" = "no"
)";

json check_feed(const Folder& folder, int expected_exit, const std::string& more = "") {
  std::ofstream(folder.path / "answers.toml") << more << answers;
  const auto r = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(r.exit, expected_exit) << r.err;
  return r.out.empty() ? json::object() : json::parse(r.out);
}

bool says(const json& j, const std::string& weight, const std::string& what) {
  for (const auto& p : j.at("points")) {
    if (p.at("weight") == weight &&
        (p.at("what").get<std::string>() + p.at("do").get<std::string>()).find(what) != std::string::npos)
      return true;
  }
  return false;
}

TEST(Feed, GoodOneIsConnected) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20);
  const json j = check_feed(folder, 0);
  EXPECT_EQ(j.at("verdict"), "pass") << j.dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "connect");
  EXPECT_TRUE(says(j, "good", "add up in mono"));
}

TEST(Feed, HumIsJudgedWithoutProgrammeWhereThatWasTaken) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20);
  // 50 Hz at -50 dBFS (sox: -53.01 dB rms is a sine of -50 dBFS by AES17, whose peak is 0.00316).
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + (folder.path / "feed.quiet.wav").string() +
                  "' synth 6 sine 50 vol -50dB");
  const json j = check_feed(folder, 1);
  EXPECT_TRUE(says(j, "change", "Hum")) << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "change", "isolation transformer"));
  check_test::quiet(folder.path / "feed.quiet.wav");
  EXPECT_EQ(check_feed(folder, 0).at("job").at("outcome"), "connect");
}

TEST(Feed, DcUnderProgrammeIsToldThoughTheSourceIsFreeOfItWhenQuiet) {
  const Folder folder;
  check_test::programme(folder.path / "clean.wav", -20);
  check_test::sox("'" + (folder.path / "clean.wav").string() + "' '" +
                  (folder.path / "feed.audio.wav").string() + "' dcshift 0.08");
  check_test::quiet(folder.path / "feed.quiet.wav");
  const json j = check_feed(folder, 1);
  EXPECT_TRUE(says(j, "change", "DC offset")) << j.at("points").dump(1);
}

TEST(Feed, HumThatComesWithTheProgrammeIsTold) {
  const Folder folder;
  check_test::programme(folder.path / "clean.wav", -20);
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + (folder.path / "hum.wav").string() +
                  "' synth 12 sine 50 vol -40dB");
  check_test::sox("-m -v 1 '" + (folder.path / "clean.wav").string() + "' -v 1 '" +
                  (folder.path / "hum.wav").string() + "' -b 24 '" +
                  (folder.path / "feed.audio.wav").string() + "'");
  check_test::quiet(folder.path / "feed.quiet.wav");
  const json j = check_feed(folder, 1);
  EXPECT_TRUE(says(j, "change", "Hum")) << j.at("points").dump(1);
}

// An organ's G (196 Hz, from A = 440 Hz [ISO 16]) held under the programme stands at four times 49 Hz, which
// no mains has; a row of 50 Hz is hum.
TEST(Feed, AHeldNoteIsNoHumWhereTheQuietLeadHasNone) {
  for (const double hz : {195.998, 50.0}) {
    const Folder folder;
    check_test::programme(folder.path / "clean.wav", -20);
    const std::string note = (folder.path / "note.wav").string();
    check_test::sox(
        fmt::format("-n -r 48000 -b 24 -c 2 '{}' synth 12 sine {} synth 12 sine mix {} synth 12 sine "
                    "mix {} vol -21dB",
                    note, hz, 2 * hz, 4 * hz));
    check_test::sox("-m -v 0.7 '" + (folder.path / "clean.wav").string() + "' -v 1 '" + note + "' -b 24 '" +
                    (folder.path / "feed.audio.wav").string() + "'");
    check_test::quiet(folder.path / "feed.quiet.wav");
    const json j = check_feed(folder, hz > 190 ? 0 : 1);
    EXPECT_EQ(says(j, "change", "Hum"), hz < 190) << hz << j.at("points").dump(1);
  }
}

// One feed taken in through three gains of the card, its volts told each time: -16.5 dBFS of programme with
// hum 45 dB under it is the same feed at -34.5 dBFS.
TEST(Feed, TheGainOfTheCardDecidesNothing) {
  for (const double card_db : {0.0, -9.0, -18.0}) {
    for (const double hum_db : {-45.0, -66.0}) {
      const Folder folder;
      check_test::programme(folder.path / "clean.wav", -20);
      check_test::sox(fmt::format("-n -r 48000 -b 24 -c 2 '{}' synth 12 sine 50 vol {}dB",
                                  (folder.path / "hum.wav").string(), -20 + hum_db));
      const double gain = std::pow(10, card_db / 20);
      check_test::sox(
          fmt::format("-m -v {} '{}' -v {} '{}' -b 24 '{}'", gain, (folder.path / "clean.wav").string(), gain,
                      (folder.path / "hum.wav").string(), (folder.path / "feed.audio.wav").string()));
      check_test::sox(fmt::format("-v {} '{}' -b 24 '{}' trim 0 6", gain, (folder.path / "hum.wav").string(),
                                  (folder.path / "feed.quiet.wav").string()));
      std::string told = answers;
      told.replace(told.find("17.37"), 5, fmt::format("{:.3f}", 17.37 / gain));
      std::ofstream(folder.path / "answers.toml") << told;
      const auto r = run(folder, "check feed --from-files . --json");
      const json j = json::parse(r.out);
      EXPECT_EQ(says(j, "change", "Hum"), hum_db > -60) << card_db << " " << hum_db << j.at("points").dump(1);
      EXPECT_EQ(j.at("verdict"), hum_db > -60 ? "fail" : "pass") << card_db << j.at("points").dump(1);
    }
  }
}

TEST(Feed, TooLittleOfItDecidesNothing) {
  const Folder folder;
  check_test::programme(folder.path / "whole.wav", -20);
  check_test::sox("'" + (folder.path / "whole.wav").string() + "' '" +
                  (folder.path / "feed.audio.wav").string() + "' trim 1 2");
  const json j = check_feed(folder, 1);
  EXPECT_EQ(j.at("job").at("outcome"), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "half a minute"));
}

// A part that was skipped is neither good nor mended.
TEST(Feed, WhatWasNotTakenInIsNotPassed) {
  const Folder folder;
  const std::string both =
      "\"feed.carries\" = \"both\"\n\"feed.system\" = \"625\"\n\"feed.quiet\" = \"skip\"\n";
  ASSERT_EQ(run(folder, "signals write video-bars-100-0-75-0 --frames 8 --out feed.video.raw").exit, 0);
  json j = check_feed(folder, 1, both + "\"feed.audio\" = \"skip\"\n");
  EXPECT_EQ(j.at("job").at("outcome"), "not decided") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "note", "sound was not taken in"));

  check_test::programme(folder.path / "feed.audio.wav", -20, "1 1i");
  ASSERT_EQ(run(folder, "signals write video-bars-100-0-75-0 --frames 9 --out feed.video.2.raw").exit, 0);
  std::string rounds = answers;
  rounds.replace(rounds.find("\"no\""), 4, "\"yes\"");
  std::ofstream(folder.path / "answers.toml")
      << both << rounds
      << "\"feed.audio.2\" = \"skip\"\n\"feed.quiet.2\" = \"skip\"\n\"feed.again.2\" = \"no\"\n";
  const auto r = run(folder, "check feed --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "connect with a change") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "change", "Swap the two legs")) << j.at("points").dump(1);
}

// Nothing plugged in, or a muted card: zeros are not the feed's own quiet.
TEST(Feed, QuietOfZerosIsNotMeasured) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20);
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + (folder.path / "feed.quiet.wav").string() + "' trim 0 6");
  const json j = check_feed(folder, 1);
  EXPECT_EQ(j.at("verdict"), "incomplete") << j.at("points").dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "not decided");
  EXPECT_TRUE(says(j, "note", "nothing is plugged in")) << j.at("points").dump(1);
  // One side of zeros is enough.
  check_test::sox("-n -r 48000 -b 24 -c 2 '" + (folder.path / "feed.quiet.wav").string() +
                  "' synth 6 whitenoise vol -96dB remix 1 0");
  EXPECT_EQ(check_feed(folder, 1).at("verdict"), "incomplete");
}

TEST(Feed, ReversedSideIsToBeSwapped) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20, "1 1i");
  const json j = check_feed(folder, 1);
  EXPECT_EQ(j.at("job").at("outcome"), "connect with a change");
  EXPECT_TRUE(says(j, "change", "Swap the two legs")) << j.at("points").dump(1);
  EXPECT_FALSE(says(j, "good", "add up in mono"));
}

// What a mono sum would lose is no reason where the sides are kept apart.
TEST(Feed, ReversedSideOfAStereoUseIsNotBlamedOnMono) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20, "1 1i");
  const json j = check_feed(folder, 1, "\"feed.use\" = \"stereo\"\n");
  EXPECT_TRUE(says(j, "change", "Swap the two legs")) << j.at("points").dump(1);
  EXPECT_EQ(j.at("points").dump().find("mono"), std::string::npos) << j.at("points").dump(1);
}

TEST(Feed, OneSidedIsFedFromThatSide) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20, "1 0");
  const json j = check_feed(folder, 1);
  EXPECT_EQ(j.at("job").at("outcome"), "connect with a change") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "change", "Only the left side"));
}

// The carrying side's level is judged, not the empty one's, which would ask for tens of dB of gain.
TEST(Feed, OneSidedIsJudgedByTheSideThatCarries) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -36.78, "1 0");
  const json j = check_feed(folder, 1);
  for (const auto& p : j.at("points")) {
    const auto what = p.at("what").get<std::string>();
    if (what.find("Programme level (voltage)") == std::string::npos) continue;
    // 24 - 36.78 dBu of speech, gated, whatever its empty other side: it would halve the power of both.
    EXPECT_NEAR(std::stod(what.substr(what.find(": ") + 2)), 24 - 36.78, 2.5) << what;
  }
  EXPECT_TRUE(says(j, "change", "line amplifier")) << j.at("points").dump(1);
}

// Composite sync with a white picture and no burst, as 16 bit samples at 27 MS/s, is what `video-white`
// holds but for its burst; here the burst is cut out of the samples between 5.3 and 8.2 us after each leading
// edge of sync [BT.1700].
TEST(Feed, APictureWithoutBurstSaysSo) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write video-white --frames 4 --rate 27e6 --out feed.video.raw").exit, 0);
  std::string bytes = app_test::slurp(folder.path / "feed.video.raw");
  const json sidecar = json::parse(app_test::slurp(folder.path / "feed.video.json"));
  ASSERT_EQ(sidecar.at("format"), "s16le");
  const auto sample = [&](std::size_t i) {
    return static_cast<std::int16_t>(static_cast<std::uint8_t>(bytes[2 * i]) |
                                     static_cast<std::uint8_t>(bytes[2 * i + 1]) << 8);
  };
  const std::size_t n = bytes.size() / 2;
  const std::int16_t blanking = 0;
  const int slice = -static_cast<int>(0.15 / sidecar.at("scale").get<double>());
  int cut = 0;
  for (std::size_t i = 1; i + 240 < n; ++i) {
    // 4.7 us of sync are 127 samples; a broad or an equalising pulse is none.
    if (!(sample(i - 1) > slice && sample(i) <= slice && sample(i + 100) <= slice && sample(i + 140) > slice))
      continue;
    for (std::size_t k = i + 143; k < i + 222; ++k)
      bytes[2 * k] = bytes[2 * k + 1] = static_cast<char>(blanking);
    ++cut;
  }
  ASSERT_GT(cut, 2000);
  std::ofstream(folder.path / "feed.video.raw", std::ios::binary) << bytes;
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.carries\" = \"video\"\n\"feed.system\" = \"625\"\n"
         "\"feed.again\" = \"no\"\n\"checklist.after\" = \"all\"\n\"feed.colour\" = \"no\"\n";
  auto r = run(folder, "check feed --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  EXPECT_TRUE(says(json::parse(r.out), "note", "black and white")) << r.out.substr(0, 3000);
  std::string text = app_test::slurp(folder.path / "answers.toml");
  text.replace(text.rfind("no"), 2, "yes");
  std::ofstream(folder.path / "answers.toml") << text;
  r = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(json::parse(r.out).at("job").at("outcome"), "connect with a change");
  EXPECT_TRUE(says(json::parse(r.out), "change", "colour burst")) << r.out.substr(0, 3000);
}

TEST(Feed, ConsumerLevelIntoAProfessionalInputAsksForItsDifference) {
  const Folder folder;
  // -10 dBV is -7.78 dBu, 11.78 dB under +4 dBu; programme lies 5 dB under the line-up of either [EBU R 68,
  // EBU R 128].
  check_test::programme(folder.path / "feed.audio.wav", -36.78);
  const json j = check_feed(folder, 1);
  EXPECT_TRUE(says(j, "change", "line amplifier")) << j.at("points").dump(1);
}

TEST(Feed, WithoutVoltsTheLevelIsLeftOpenAndNotGuessed) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20);
  std::ofstream(folder.path / "answers.toml") << R"("feed.name" = "x"
"feed.level" = "professional"
"feed.again" = "no"
)";
  const auto r = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("verdict"), "incomplete");
  EXPECT_EQ(j.at("job").at("outcome"), "not decided");
  EXPECT_TRUE(says(j, "note", "Programme level (voltage)"));
}

TEST(Feed, ChangeMeasuredAgainStandsBesideTheFirst) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20, "1 1i");
  check_test::programme(folder.path / "feed.audio.2.wav", -20);
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.again\" = \"yes\"\n"
      << std::string(answers).substr(0, std::string(answers).find("\"feed.again"));
  const auto r = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "connect");
  EXPECT_EQ(j.at("job").at("captures").size(), 2u);
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  const std::string page = app_test::slurp(folder.path / "paper.html");
  EXPECT_NE(page.find("take 2"), std::string::npos);
  EXPECT_NE(page.find("Change made, measured again"), std::string::npos);
  EXPECT_NE(page.find("Customer signed off"), std::string::npos);
}

// Turned up, a source brings its noise and hum along: what was quiet before the change clears nothing after
// it.
TEST(Feed, AQuietTakeOfBeforeTheChangeClearsNothingAfterIt) {
  const Folder folder;
  // Programme of an even flow has no pauses in which hum could be seen.
  const auto pink = [&](const char* file, double db) {
    check_test::sox("-n -r 48000 -b 24 '" + (folder.path / file).string() +
                    "' synth 12 pinknoise highpass 60 tremolo 3 80 vol " + std::to_string(db) +
                    "dB remix 1 1");
  };
  pink("feed.audio.wav", -24);
  check_test::quiet(folder.path / "feed.quiet.wav");
  pink("feed.audio.2.wav", -4);
  const std::string rest = std::string(answers).substr(0, std::string(answers).find("\"feed.again"));
  const auto outcome = [&](const std::string& second) {
    std::ofstream(folder.path / "answers.toml") << "\"feed.again\" = \"yes\"\n\"feed.again.2\" = \"no\"\n"
                                                << second << rest;
    const auto r = run(folder, "check feed --from-files . --json");
    EXPECT_FALSE(r.out.empty()) << r.err;
    return json::parse(r.out.empty() ? "{}" : r.out);
  };
  const json skipped = outcome("\"feed.quiet.2\" = \"skip\"\n");
  EXPECT_EQ(skipped.at("job").at("outcome"), "not decided") << skipped.at("points").dump(1);
  EXPECT_TRUE(says(skipped, "note", "Hum")) << skipped.at("points").dump(1);
  check_test::quiet(folder.path / "feed.quiet.2.wav", -97);
  const json taken = outcome("");
  EXPECT_EQ(taken.at("job").at("outcome"), "connect") << taken.at("points").dump(1);
}

// The picture is the program's own; what is asked is what the job makes of a system or size that is not the
// installation's.
TEST(Feed, PictureOfAnotherSystemIsNotConnectedAndAnUnterminatedOneIsTerminated) {
  const Folder folder;
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.carries\" = \"video\"\n\"feed.system\" = \"625\"\n"
         "\"feed.again\" = \"no\"\n\"checklist.after\" = \"all\"\n";
  const auto write = [&](const char* system) {
    for (const char* ending : {"raw", "json"})
      std::filesystem::remove(folder.path / (std::string("feed.video.") + ending));
    ASSERT_EQ(
        run(folder, std::string("signals write video-bars-75 --system ") + system + " --out feed.video.raw")
            .exit,
        0);
  };
  write("625");
  const auto good = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(good.exit, 0) << good.err;
  // Without its 75 ohm a line carries about twice the signal (voltage divider of two equal resistances).
  json sidecar = json::parse(app_test::slurp(folder.path / "feed.video.json"));
  sidecar["scale"] = 1.9 * sidecar["scale"].get<double>();
  std::ofstream(folder.path / "feed.video.json") << sidecar.dump();
  const auto loud = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(loud.exit, 1);
  EXPECT_TRUE(says(json::parse(loud.out), "change", "Terminate it once")) << loud.out.substr(0, 2000);
  // What a load does to all levels alike is one change, not four.
  EXPECT_EQ(json::parse(loud.out).at("points").size(), 1u) << json::parse(loud.out).at("points").dump(1);
  // A camera's supply along the cable is nothing to plug an input into; an output's own bias is no matter.
  for (const double volts : {12.0, -5.0, 1.0}) {
    write("625");
    sidecar = json::parse(app_test::slurp(folder.path / "feed.video.json"));
    sidecar["offset"] = volts;
    std::ofstream(folder.path / "feed.video.json") << sidecar.dump();
    const auto supplied = run(folder, "check feed --from-files . --json");
    EXPECT_EQ(supplied.exit, volts == 1 ? 0 : 1) << volts << supplied.err;
    EXPECT_EQ(says(json::parse(supplied.out), "stop", "Meter the lead"), volts != 1)
        << supplied.out.substr(0, 2000);
  }
  write("525");
  const auto other = run(folder, "check feed --from-files . --json");
  EXPECT_EQ(other.exit, 1);
  const json j = json::parse(other.out);
  EXPECT_EQ(j.at("job").at("outcome"), "do not connect");
  EXPECT_EQ(j.at("points").size(), 1u) << j.at("points").dump(1);  // the rest follows from it
}

// Bars of full saturation whose tops are cut off at 600 mV, in the samples themselves.
TEST(Feed, APictureThatIsClippedIsNotConnected) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write video-bars-100-0-75-0 --frames 8 --out feed.video.raw").exit, 0);
  const json sidecar = json::parse(app_test::slurp(folder.path / "feed.video.json"));
  ASSERT_EQ(sidecar.at("format"), "s16le");
  const int top = static_cast<int>(0.6 / sidecar.at("scale").get<double>());
  std::string bytes = app_test::slurp(folder.path / "feed.video.raw");
  for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) {
    const int v = static_cast<std::int16_t>(static_cast<std::uint8_t>(bytes[i]) |
                                            static_cast<std::uint8_t>(bytes[i + 1]) << 8);
    if (v <= top) continue;
    bytes[i] = static_cast<char>(top & 0xff);
    bytes[i + 1] = static_cast<char>(top >> 8);
  }
  std::ofstream(folder.path / "feed.video.raw", std::ios::binary) << bytes;
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.carries\" = \"video\"\n\"feed.system\" = \"625\"\n"
         "\"feed.again\" = \"no\"\n\"checklist.after\" = \"all\"\n";
  const auto r = run(folder, "check feed --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("job").at("outcome"), "do not connect") << j.at("points").dump(1);
  EXPECT_TRUE(says(j, "stop", "Find the stage that clips")) << j.at("points").dump(1);
}

TEST(Feed, MissingAnswerIsNamedAndTheJobKept) {
  const Folder folder;
  std::ofstream(folder.path / "answers.toml") << "\"feed.name\" = \"x\"\n";
  const auto r = run(folder, "check feed --from-files .");
  EXPECT_EQ(r.exit, 3);
  EXPECT_NE(r.err.find("feed.level"), std::string::npos) << r.err;
  const auto list = run(folder, "jobs list --json");
  EXPECT_EQ(json::parse(list.out).at("jobs").size(), 1u);
}

TEST(Feed, TypedAtATerminal) {
  const Folder folder;
  const std::string wav = folder.path / "it's a \"feed\".wav";
  check_test::programme(folder.path / "plain.wav", -20, "1 1i");
  std::filesystem::rename(folder.path / "plain.wav", wav);
  const std::string home = folder.path / "home";
  std::filesystem::create_directory(home);
  std::ofstream(home + "/profile.toml") << "mains_hz = 50\n";
  check_test::Terminal t(home, {"check", "feed"});
  ASSERT_TRUE(t.wait_for("What is the feed called?")) << t.screen();
  t.line("Deck \xF0\x9F\x93\xA2 <b>\"A\"</b> / 'B'");
  ASSERT_TRUE(t.wait_for("Which site"));
  t.line("Ferry terminal");
  ASSERT_TRUE(t.wait_for("What is to be connected?"));
  t.line("7");
  ASSERT_TRUE(t.wait_for("is none of them"));
  t.line("");  // the answer in brackets
  ASSERT_TRUE(t.wait_for("What is the input made for"));
  t.line("cons");
  ASSERT_TRUE(t.wait_for("How does the installation use it?"));
  t.line("back");
  ASSERT_TRUE(t.wait_for("What is the input made for"));
  t.line("1");
  ASSERT_TRUE(t.wait_for("How does the installation use it?"));
  t.line("");
  ASSERT_TRUE(t.wait_for("full-scale sample"));
  t.line("17,37");
  ASSERT_TRUE(t.wait_for("Caution"));
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("nowhere.wav");
  ASSERT_TRUE(t.wait_for("there is no such file"));
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("note meter said 1.2 V ac");
  ASSERT_TRUE(t.wait_for("(?): "));
  const std::string idle = folder.path / "idle.wav";  // the plug was not in
  check_test::quiet(idle);
  t.line(idle);
  ASSERT_TRUE(t.wait_for("Where that is not the fault itself")) << t.screen();
  ASSERT_TRUE(t.wait_for("nothing plays"));
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("back");
  ASSERT_TRUE(t.wait_for("half a minute of programme"));
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line(wav);
  ASSERT_TRUE(t.wait_for("nothing plays"));
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("skip");
  ASSERT_TRUE(t.wait_for("Swap the two legs")) << t.screen();
  ASSERT_TRUE(t.wait_for("measured again?"));
  t.type("\x03");  // Ctrl-C: left here
  EXPECT_EQ(t.finish(), 4);
  EXPECT_NE(t.screen().find("check feed --job"), std::string::npos);

  check_test::Terminal again(home, {"check", "feed", "--job", "last"});
  ASSERT_TRUE(again.wait_for("measured again?")) << again.screen();
  again.line("change feed.use");
  ASSERT_TRUE(again.wait_for("How does the installation use it?"));
  again.line("stereo");
  ASSERT_TRUE(again.wait_for("measured again?"));
  again.line("no");
  EXPECT_EQ(again.finish(), 1);
  EXPECT_NE(again.screen().find("connect with a change"), std::string::npos);

  const auto shown = run(folder, "jobs show last --json");
  const json job = json::parse(shown.out).at("job");
  EXPECT_EQ(job.at("title"), "Deck \xF0\x9F\x93\xA2 <b>\"A\"</b> / 'B'");
  EXPECT_EQ(job.at("notes").size(), 1u);
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  const std::string page = app_test::slurp(folder.path / "paper.html");
  EXPECT_EQ(page.find("<b>\"A\""), std::string::npos);
  EXPECT_NE(page.find("&lt;b&gt;"), std::string::npos);
}

}  // namespace
