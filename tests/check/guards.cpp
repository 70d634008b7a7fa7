// What a guided job refuses: a recording that stands for another place already, an answer to a question that
// another program has answered, a plan with a slip in it.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "terminal.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;
namespace fs = std::filesystem;

void hum(const fs::path& file, double db) {
  const std::string f = file.string();
  check_test::sox("-n -r 16000 -b 24 '" + f + ".a.wav' synth 8 sine 50 vol " + std::to_string(db) + "dB");
  check_test::sox("-n -r 16000 -b 24 '" + f + ".b.wav' synth 8 whitenoise vol -76dB");
  check_test::sox("-m -v 1 '" + f + ".a.wav' -v 1 '" + f + ".b.wav' -b 24 '" + f + "'");
}

constexpr const char* site = R"("site.name" = "Quay"
"site.path" = "Lane 3"
"complaint" = "hum"
"site.seen" = "hum"
"site.where" = "one"
"site.parts" = "station, cable, hub"
)";

// The same bytes, and the same samples in another kind of file.
TEST(Guards, OneRecordingStandsForOnePlace) {
  for (const bool repacked : {false, true}) {
    const Folder folder;
    hum(folder.path / "site.at.3.wav", -38);
    const std::string to = (folder.path / (repacked ? "site.at.2.flac" : "site.at.2.wav")).string();
    check_test::sox("'" + (folder.path / "site.at.3.wav").string() + "' '" + to + "'");
    if (!repacked) {
      fs::remove(to);
      fs::copy(folder.path / "site.at.3.wav", to);
    }
    fs::copy(to, folder.path / (repacked ? "site.at.1.flac" : "site.at.1.wav"));
    std::ofstream(folder.path / "answers.toml") << site;
    const auto r = run(folder, "check site --from-files .");
    EXPECT_EQ(r.exit, 3) << r.err;
    EXPECT_NE(r.err.find("stands for 'At the end of hub' already"), std::string::npos) << r.err;
  }
}

// A muted input: the same zeros everywhere, and no recording that was given twice.
TEST(Guards, ZerosAtTwoPlacesAreNoOneRecording) {
  const Folder folder;
  fs::create_directories(folder.path / "home/plans");
  std::ofstream(folder.path / "home/plans/short.toml")
      << "title = \"Short\"\ntypes = [\"post\"]\n"
         "[[test]]\nkey = \"one\"\ntitle = \"One\"\nsignal = \"tone-1k\"\nlimits = \"speech-path\"\n"
         "[[test]]\nkey = \"two\"\ntitle = \"Two\"\nsignal = \"tone-1k\"\nlimits = \"speech-path\"\n";
  for (const char* name : {"test.one.wav", "test.two.wav"})
    check_test::sox("-D -n -r 48000 -b 24 '" + (folder.path / name).string() + "' trim 0 5");
  std::ofstream(folder.path / "answers.toml")
      << "\"station.type\" = \"Post\"\n\"station.serial\" = \"Z1\"\n\"checklist.before\" = \"all\"\n"
         "\"checklist.after\" = \"all\"\n\"station.next\" = \"leave\"\n";
  const auto r = run(folder, "check station --from-files .");
  EXPECT_EQ(r.exit, 1) << r.err;
  EXPECT_EQ(r.err.find("stands for"), std::string::npos) << r.err;
  EXPECT_NE(r.out.find("CHANGE  Two: Signal: none"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("not judged"), std::string::npos) << "of nothing, said once: " << r.out;
}

// On a site the same zeros are no path that shows nothing wrong: they are said, with what to do.
TEST(Guards, ZerosOnASiteAreNothingThatCame) {
  const Folder folder;
  check_test::sox("-D -n -r 48000 -b 24 '" + (folder.path / "site.at.2.wav").string() + "' trim 0 10");
  std::ofstream(folder.path / "answers.toml")
      << "\"site.name\" = \"Ferry terminal\"\n\"site.path\" = \"Lane 3\"\n\"complaint\" = \"it hums\"\n"
         "\"site.seen\" = \"hum\"\n\"site.where\" = \"one\"\n\"site.parts\" = \"post, hub\"\n";
  const auto r = run(folder, "check site --from-files .");
  EXPECT_EQ(r.exit, 3) << r.out;  // the next look has no file
  EXPECT_NE(r.out.find("nothing came in"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("take mute off"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("shows nothing wrong"), std::string::npos) << r.out;
}

TEST(Guards, OneRecordingIsNotThreeGoodUnits) {
  const Folder folder;
  fs::create_directories(folder.path / "home/plans");
  std::ofstream(folder.path / "home/plans/short.toml")
      << "title = \"Short\"\ntypes = [\"post\"]\n[[test]]\nkey = \"level\"\ntitle = \"Level\"\n"
         "signal = \"tone-1k\"\nlimits = \"speech-path\"\n";
  check_test::sox("-n -r 48000 -b 24 '" + (folder.path / "test.level.wav").string() +
                  "' synth 5 sine 1000 vol -30dB");
  const auto unit = [&](const std::string& serial) {
    std::ofstream(folder.path / "answers.toml")
        << "\"station.type\" = \"Post\"\n\"station.serial\" = \"" << serial
        << "\"\n\"checklist.before\" = \"all\"\n\"checklist.after\" = \"all\"\n\"station.next\" = "
           "\"reference\"\n";
    return run(folder, "check station --from-files .");
  };
  const auto first = unit("G1");
  ASSERT_EQ(first.exit, 0) << first.err << first.out;
  const auto second = unit("G2");
  EXPECT_EQ(second.exit, 3);
  EXPECT_NE(second.err.find("the recording of Post G1"), std::string::npos) << second.err;
}

TEST(Guards, SecondProgramOnAJobIsTold) {
  const Folder folder;
  const std::string home = folder.path / "home";
  fs::create_directories(home);
  std::ofstream(home + "/profile.toml") << "mains_hz = 50\n";
  const auto at = [](check_test::Terminal& t, const char* shown) {
    ASSERT_TRUE(t.wait_for(shown)) << shown << "\n" << t.screen();
    ASSERT_TRUE(t.wait_for("(?): "));
  };
  check_test::Terminal a(home, {"check", "feed"});
  at(a, "What is the feed called?");
  a.line("Deck");
  at(a, "Which site");
  check_test::Terminal b(home, {"check", "feed", "--job", "last"});
  at(b, "Which site");
  a.line("Quay");
  at(a, "What is to be connected?");
  b.line("Another quay");
  ASSERT_TRUE(b.wait_for("answered by another program")) << b.screen();
  at(b, "What is to be connected?");  // as it stands now
  b.line("audio");
  at(b, "made for");
  a.line("video");
  ASSERT_TRUE(a.wait_for("answered by another program")) << a.screen();
  at(a, "made for");
  for (check_test::Terminal* t : {&a, &b}) {
    t->line("stop");
    EXPECT_EQ(t->finish(), 4);
  }
  const json job = json::parse(run(folder, "jobs show last --json").out).at("job");
  EXPECT_EQ(job.at("site").at("name"), "Quay");
  EXPECT_EQ(job.at("answers").size(), 3u) << job.at("answers").dump(1);
}

TEST(Guards, SlipInAPlanIsToldBeforeTheFirstQuestion) {
  for (const char* slip :
       {"signal = \"sweep-speach\"\n", "limits = \"speech-pth\"\n", "signal = \"video-bars-75\"\n"}) {
    const Folder folder;
    fs::create_directories(folder.path / "home/plans");
    std::ofstream(folder.path / "home/plans/own.toml")
        << "title = \"Own\"\n[[test]]\nkey = \"talk\"\ntitle = \"Talk\"\n"
        << slip;
    const auto r = run(folder, "check station < /dev/null");
    EXPECT_EQ(r.exit, 3) << slip << r.out;
    EXPECT_NE(r.err.find("own.toml, line 5"), std::string::npos) << r.err;
    EXPECT_EQ(r.out.find("Step 1"), std::string::npos) << r.out;
  }
}

// Where the terminal has no line drawing, boxes are drawn with what every terminal has.
TEST(Guards, DrawingsAreReadableInAnyLocale) {
  const Folder folder;
  std::ofstream(folder.path / "typed") << "Deck\nQuay\naudio\nconsumer\nmono\n17.37\nstop\n";
  const auto r = run(folder, "check feed", "LC_ALL=C sh -c 'exec \"$@\" < typed' sh");
  EXPECT_NE(r.out.find("+-----"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("| Source, output -10 dBV |"), std::string::npos) << r.out;
  for (const char c : r.out) EXPECT_LT(static_cast<unsigned char>(c), 0x80);
}

TEST(Guards, NamesFitAListAndALabel) {
  const Folder folder;
  std::ofstream(folder.path / "typed") << std::string(300, 'x') << "\nDeck\nstop\n";
  const auto r = run(folder, "check feed", "LC_ALL=C.UTF-8 sh -c 'exec \"$@\" < typed' sh");
  EXPECT_NE(r.out.find("300 characters long"), std::string::npos) << r.out;
  EXPECT_EQ(json::parse(run(folder, "jobs show last --json").out).at("job").at("title"), "Deck");
}

}  // namespace
