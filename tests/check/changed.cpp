// Answers that are changed after something was measured by them. The captures are sox's.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;
namespace fs = std::filesystem;

// Lines typed at a job that is gone on with. @return its document.
json typed(const Folder& folder, const std::string& command, const std::string& lines) {
  std::ofstream(folder.path / "typed") << lines;
  const auto r = run(folder, command + " --json", "LC_ALL=C.UTF-8 sh -c 'exec \"$@\" < typed' sh");
  EXPECT_FALSE(r.out.empty()) << r.err;
  json j = r.out.empty() ? json::object() : json::parse(r.out);
  j["screen"] = r.err;
  return j;
}

// A feed at +4 dBu (0 dBFS = +24 dBu = 17.37 V peak, by the definition of dBu) of which nobody said so.
void feed_without_volts(const Folder& folder) {
  check_test::programme(folder.path / "feed.audio.wav", -20);
  std::ofstream(folder.path / "answers.toml") << R"("feed.name" = "Deck"
"feed.level" = "professional"
"feed.again" = "no"
)";
  const auto r = run(folder, "check feed --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  ASSERT_EQ(json::parse(r.out).at("job").at("outcome"), "not decided");
}

TEST(Changed, VoltsGivenLaterJudgeTheFeedAnew) {
  const Folder folder;
  feed_without_volts(folder);
  json j = typed(folder, "check feed --job last --change feed.full-scale", "17.37\nall\n");
  EXPECT_EQ(j.at("verdict"), "pass") << j.at("points").dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "connect");
  EXPECT_NE(j.at("screen").get<std::string>().find("measured anew"), std::string::npos) << j.at("screen");
  // The card was calibrated wrongly: 20 dB less, and the same recording is far too quiet.
  j = typed(folder, "check feed --job last --change feed.full-scale", "1.737\nno\n");
  EXPECT_EQ(j.at("job").at("outcome"), "connect with a change") << j.at("points").dump(1);
  EXPECT_NE(j.at("points").dump().find("line amplifier"), std::string::npos);
}

TEST(Changed, AnotherInputJudgesTheFeedAnew) {
  const Folder folder;
  feed_without_volts(folder);
  (void)typed(folder, "check feed --job last --change feed.full-scale", "17.37\nall\n");
  const json j = typed(folder, "check feed --job last --change feed.level", "consumer\nno\n");
  EXPECT_EQ(j.at("job").at("outcome"), "connect with a change") << j.at("points").dump(1);
  EXPECT_NE(j.at("points").dump().find("pad of about"), std::string::npos) << j.at("points").dump(1);
}

TEST(Changed, AFileThatIsGoneOrAnotherIsAskedForAndTheOldJudgementGoes) {
  const Folder folder;
  feed_without_volts(folder);
  (void)typed(folder, "check feed --job last --change feed.full-scale", "17.37\nall\n");
  check_test::programme(folder.path / "feed.audio.wav", -40);  // not the one that was measured
  json j = typed(folder, "check feed --job last --change feed.full-scale", "1.737\n");
  EXPECT_EQ(j.at("verdict"), "incomplete") << j.at("points").dump(1);
  EXPECT_EQ(j.at("job").at("outcome"), "");
  EXPECT_NE(j.at("screen").get<std::string>().find("changed after it was measured"), std::string::npos);
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  EXPECT_EQ(app_test::slurp(folder.path / "paper.html").find("Connect: the feed"), std::string::npos);
  fs::remove(folder.path / "feed.audio.wav");
  j = typed(folder, "check feed --job last", "");
  EXPECT_NE(j.at("screen").get<std::string>().find("not where it was"), std::string::npos);
}

// The picture is the program's own; what is asked is by which system it is judged.
TEST(Changed, AnotherSystemJudgesThePictureAnew) {
  const Folder folder;
  ASSERT_EQ(run(folder, "signals write video-bars-75 --system 525 --out feed.video.raw").exit, 0);
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.carries\" = \"video\"\n\"feed.system\" = \"625\"\n"
         "\"feed.again\" = \"no\"\n\"checklist.after\" = \"all\"\n";
  const auto r = run(folder, "check feed --from-files . --json");
  ASSERT_EQ(json::parse(r.out).at("job").at("outcome"), "do not connect");
  const json j = typed(folder, "check feed --job last --change feed.system", "525\nall\n");
  EXPECT_EQ(j.at("job").at("outcome"), "connect") << j.at("points").dump(1);
}

// What another carries-answer leaves behind does not count either.
TEST(Changed, APartThatIsNoLongerConnectedDoesNotCount) {
  const Folder folder;
  check_test::programme(folder.path / "feed.audio.wav", -20);
  ASSERT_EQ(run(folder, "signals write video-bars-75 --system 525 --out feed.video.raw").exit, 0);
  std::ofstream(folder.path / "answers.toml")
      << "\"feed.name\" = \"x\"\n\"feed.carries\" = \"both\"\n\"feed.level\" = \"professional\"\n"
         "\"feed.full-scale\" = 17.37\n\"feed.system\" = \"625\"\n\"feed.again\" = \"no\"\n"
         "\"checklist.after\" = \"all\"\n";
  ASSERT_EQ(run(folder, "check feed --from-files .").exit, 1);
  const json j = typed(folder, "check feed --job last --change feed.carries", "audio\nall\n");
  EXPECT_EQ(j.at("job").at("outcome"), "connect") << j.at("points").dump(1);
}

TEST(Changed, AnotherPlanJudgesTheStationAnew) {
  const Folder folder;
  fs::create_directories(folder.path / "home/plans");
  for (const auto& [name, limits] : {std::pair{"narrow", "speech-path"}, {"wide", "wideband-path"}})
    std::ofstream(folder.path / "home/plans" / (std::string(name) + ".toml"))
        << "title = \"" << name << "\"\n[[test]]\nkey = \"listen\"\ntitle = \"Listen path\"\nsignal = "
        << "\"sweep-speech\"\nlimits = \"" << limits << "\"\n";
  ASSERT_EQ(run(folder, "signals write sweep-speech --out sent.wav").exit, 0);
  check_test::sox("'" + (folder.path / "sent.wav").string() + "' -b 24 '" +
                  (folder.path / "test.listen.wav").string() + "' remix 1 highpass 150 lowpass 6000");
  std::ofstream(folder.path / "answers.toml")
      << "\"station.type\" = \"Post\"\n\"station.serial\" = \"1\"\n\"station.plan\" = \"narrow\"\n"
         "\"checklist.before\" = \"all\"\n\"checklist.after\" = \"all\"\n\"station.next\" = \"done\"\n";
  ASSERT_EQ(run(folder, "check station --from-files .").exit, 0);
  const json j = typed(folder, "check station --job last --change station.plan", "wide\n");
  EXPECT_EQ(j.at("job").at("captures").back().at("limit_set"), "wideband-path") << j.dump(1).substr(0, 900);
  EXPECT_EQ(j.at("job").at("captures").size(), 2u);
  EXPECT_NE(j.at("verdict"), "pass") << j.at("points").dump(1);
}

// A part that is put in later: what was measured at the others stays theirs.
TEST(Changed, PartsPutInLaterLeaveEachCaptureAtItsPlace) {
  const Folder folder;
  const auto hum = [&](const char* name, double db, double hiss) {
    check_test::sox("-n -r 16000 -b 24 '" + (folder.path / "a.wav").string() + "' synth 8 sine 50 vol " +
                    std::to_string(db) + "dB");
    check_test::sox("-n -r 16000 -b 24 '" + (folder.path / "b.wav").string() + "' synth 8 whitenoise vol " +
                    std::to_string(hiss) + "dB");
    check_test::sox("-m -v 1 '" + (folder.path / "a.wav").string() + "' -v 1 '" +
                    (folder.path / "b.wav").string() + "' -b 24 '" + (folder.path / name).string() + "'");
  };
  hum("site.at.3.wav", -38, -76);
  hum("site.at.2.wav", -38.2, -76);
  hum("site.at.1.wav", -92, -75);
  std::ofstream(folder.path / "answers.toml") << R"("site.name" = "Quay"
"site.path" = "Lane 3"
"complaint" = "hum"
"site.seen" = "hum"
"site.where" = "one"
"site.parts" = "station, cable, hub"
"site.trial.isolate-audio" = "skip"
"site.trial.earth-points" = "skip"
"site.cure" = "no"
"site.cure.1" = "no"
"checklist.after" = "all"
)";
  auto r = run(folder, "check site --from-files . --json");
  ASSERT_FALSE(r.out.empty()) << r.err;
  const std::size_t taken = json::parse(r.out).at("job").at("captures").size();
  ASSERT_GE(taken, 2u);
  hum("socket.wav", -38.1, -77);
  const json j =
      typed(folder, "check site --job last --change site.parts", "station, socket, cable, hub\nsocket.wav\n");
  // Only the new place is taken in, and each capture stands at its own in the paper.
  EXPECT_EQ(j.at("job").at("captures").size(), taken + 1) << j.at("screen");
  EXPECT_NE(j.dump().find("The fault comes in at socket"), std::string::npos) << j.at("points").dump(1);
  ASSERT_EQ(run(folder, "report last --out paper.html").exit, 0);
  const std::string page = app_test::slurp(folder.path / "paper.html");
  const auto row = [&](const std::string& part) {
    const auto at = page.find(">" + part + "</th>", page.find("Along the path"));
    return at == std::string::npos ? part + " is not there" : page.substr(at, 100);
  };
  EXPECT_NE(row("socket").find("fail"), std::string::npos) << row("socket");
  EXPECT_NE(row("hub").find("fail"), std::string::npos) << row("hub");
  EXPECT_NE(row("station").find("pass"), std::string::npos) << row("station");
}

}  // namespace
