// What is typed at a guided job's steps beside plain answers, read from the screen as a person does.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <sstream>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "terminal.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;
namespace fs = std::filesystem;

struct Desk {
  Folder folder;
  std::string home = folder.path / "home";
  Desk() {
    std::filesystem::create_directory(home);
    std::ofstream(home + "/profile.toml") << "mains_hz = 50\n";
  }
  [[nodiscard]] json answer(const std::string& key) const {
    const json job = json::parse(run(folder, "jobs show last --json").out).at("job");
    json last;  // an answer that was changed leaves the earlier one on record
    for (const auto& a : job.at("answers")) {
      if (a.at("step") == key) last = a.at("answer");
    }
    return last;
  }
};

void type(check_test::Terminal& t, const char* shown, const std::string& keys) {
  ASSERT_TRUE(t.wait_for(shown)) << shown << "\n" << t.screen();
  ASSERT_TRUE(t.wait_for("(?): ")) << shown << "\n" << t.screen();
  t.line(keys);
}

TEST(Answers, OldAnswerIsShownAndKeptByEnter) {
  const Desk desk;
  check_test::Terminal t(desk.home, {"check", "feed"});
  type(t, "What is the feed called?", "Deck two");
  type(t, "Which site is it at?", "Quay");
  type(t, "What is to be connected?", "BACK ");
  type(t, "Which site is it at?", "Back");
  ASSERT_TRUE(t.wait_for("What is the feed called?"));
  EXPECT_TRUE(t.wait_for("[Deck two]")) << t.screen();
  t.line("back");
  EXPECT_TRUE(t.wait_for("first step")) << t.screen();
  EXPECT_TRUE(t.wait_for("What is the feed called?")) << "and it stays there\n" << t.screen();
  ASSERT_TRUE(t.wait_for("[Deck two]"));
  t.line("");
  type(t, "What is to be connected?", "change 99");
  ASSERT_TRUE(t.wait_for("a number from 1 to 2")) << t.screen();
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("change 2");
  ASSERT_TRUE(t.wait_for("Which site is it at?"));
  ASSERT_TRUE(t.wait_for("[Quay]"));
  t.line("=");  // as it stands: nothing
  type(t, "What is to be connected?", "both");
  type(t, "What is the input made for", "change feed.carries");
  ASSERT_TRUE(t.wait_for("What is to be connected?"));
  ASSERT_TRUE(t.wait_for("[both]")) << "not the usual one\n" << t.screen();
  t.line("");
  type(t, "What is the input made for", "STOP");
  EXPECT_EQ(t.finish(), 4) << t.screen();
  EXPECT_EQ(desk.answer("feed.name"), "Deck two");
  EXPECT_EQ(desk.answer("site.name"), "");
  EXPECT_EQ(desk.answer("feed.carries"), "both");
}

TEST(Answers, TextThatLooksLikeACommandCanBeGiven) {
  const Desk desk;
  check_test::Terminal t(desk.home, {"check", "feed"});
  type(t, "What is the feed called?", "change of guard speech");
  type(t, "Which site is it at?", "=stop");
  type(t, "What is to be connected?", "Note meter said 1.2 V");
  ASSERT_TRUE(t.wait_for("Kept as a note: meter said 1.2 V")) << t.screen();
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line("stop");
  EXPECT_EQ(t.finish(), 4);
  EXPECT_EQ(desk.answer("feed.name"), "change of guard speech");
  EXPECT_EQ(desk.answer("site.name"), "stop");
}

TEST(Answers, JobWithoutAnAnswerIsNotKept) {
  const Desk desk;
  check_test::Terminal t(desk.home, {"check", "site"});
  type(t, "Which site is it?", "stop");
  EXPECT_EQ(t.finish(), 4);
  EXPECT_NE(t.screen().find("no job was begun"), std::string::npos) << t.screen();
  EXPECT_TRUE(json::parse(run(desk.folder, "jobs list --json").out).at("jobs").empty());
}

TEST(Answers, HintsNameTheStoreAndTheWayToTakeIn) {
  const Desk desk;
  const std::string store = desk.folder.path / "laptop's jobs.sqlite";
  check_test::programme(desk.folder.path / "feed.wav", -20);
  check_test::Terminal t(desk.home, {"check", "feed", "--store", store}, 400);
  type(t, "What is the feed called?", "x");
  type(t, "Which site is it at?", "");
  type(t, "What is to be connected?", "audio");
  type(t, "What is the input made for", "professional");
  type(t, "How does the installation use it?", "mono");
  type(t, "full-scale sample?", "17.37");
  ASSERT_TRUE(t.wait_for("--from DEVICE")) << t.screen();
  ASSERT_TRUE(t.wait_for("(?): "));
  t.line((desk.folder.path / "feed.wav").string());
  type(t, "nothing plays", "back");
  ASSERT_TRUE(t.wait_for("[keep: feed.wav]")) << t.screen();
  t.line("");
  type(t, "nothing plays", "stop");
  EXPECT_EQ(t.finish(), 4);
  const std::string& screen = t.screen();
  EXPECT_EQ(screen.find("--from DEVICE"), screen.rfind("--from DEVICE (")) << "said once";
  EXPECT_EQ(screen.find("--to DEVICE"), std::string::npos) << "nothing is sent into a feed";
  const auto at = screen.rfind("linebench check feed --job ");
  ASSERT_NE(at, std::string::npos);
  const std::string hint = screen.substr(at + 10, screen.find('\r', at) - at - 10);
  EXPECT_NE(hint.find("--store"), std::string::npos) << hint;
  // The command as it was printed, in a shell.
  const auto again = run(desk.folder, hint + " < /dev/null");
  EXPECT_EQ(again.exit, 4) << hint << again.err;
  const json jobs =
      json::parse(run(desk.folder, "jobs list --json --store \"" + store + "\"").out).at("jobs");
  EXPECT_EQ(jobs.size(), 1u);
}

TEST(Answers, ComplaintsFitTheScreen) {
  const Desk desk;
  check_test::Terminal t(desk.home, {"check", "site"}, 50);
  type(t, "Which site is it?", "Quay");
  type(t, "Which path", "Lane 3");
  type(t, "What was reported", "hums");
  type(t, "What is seen or heard?", "green smoke");
  type(t, "is none of them", "stop");
  EXPECT_EQ(t.finish(), 4);
  std::istringstream lines(t.screen().substr(t.screen().find("is none of them") - 15));
  for (std::string line; std::getline(lines, line) && line.find("(?)") == std::string::npos;)
    EXPECT_LE(line.size(), 51u) << line;
}

TEST(Answers, WrongDeviceIsSaidBeforeTheFirstQuestion) {
  const Desk desk;
  const auto r = run(desk.folder, "check feed --from nosuchcard < /dev/null");
  EXPECT_TRUE(r.exit == 2 || r.exit == 3) << r.exit << r.err;
  EXPECT_EQ(r.out.find("Step"), std::string::npos) << r.out;
  EXPECT_TRUE(json::parse(run(desk.folder, "jobs list --json").out).at("jobs").empty());
}

TEST(Answers, UnknownAnswerToChangeIsSaid) {
  const Desk desk;
  (void)run(desk.folder, "check feed < /dev/null");
  check_test::Terminal t(desk.home, {"check", "feed"});
  type(t, "What is the feed called?", "x");
  type(t, "Which site is it at?", "stop");
  EXPECT_EQ(t.finish(), 4);
  const auto r = run(desk.folder, "check feed --job last --change feed.nonsense < /dev/null");
  EXPECT_EQ(r.exit, 2);
  EXPECT_NE(r.err.find("feed.name"), std::string::npos) << r.err;
}

// Lines that are piped in answer the job; which half of the world is no step of it.
// A path dragged into a terminal comes in quotes or with backslashes; ~ is the home folder, as shells have
// it.
TEST(Answers, FileNamesComeAsAShellTakesThem) {
  const Folder folder;
  const std::string file = (folder.path / "a b's (1).wav").string();
  check_test::quiet(folder.path / "plain.wav");
  fs::rename(folder.path / "plain.wav", file);
  std::string escaped, quoted = "'";
  for (const char c : file) {
    if (std::string(" '()").find(c) != std::string::npos) escaped += '\\';
    escaped += c;
    quoted += c == '\'' ? std::string("'\\''") : std::string(1, c);
  }
  quoted += "'";
  std::ofstream(folder.path / "typed-in.sh") << "exec \"$@\" < typed\n";
  for (const std::string& typed :
       {file, "\"" + file + "\"", quoted, escaped, std::string("~/a b's (1).wav")}) {
    std::ofstream(folder.path / "typed") << "Feed\n\naudio\nprofessional\nmono\n\n" << typed << "\nstop\n";
    const auto r = run(folder, "check feed", "HOME='" + folder.path.string() + "' sh typed-in.sh");
    EXPECT_EQ(json::parse(run(folder, "jobs show last --json").out).at("job").at("captures").size(), 1u)
        << typed << "\n"
        << r.err << r.out;
  }
}

TEST(Answers, PipedAnswersAreNotTakenForTheProfile) {
  const Folder folder;
  std::ofstream(folder.path / "typed") << "Deck\nQuay\nstop\n";
  const auto r = run(folder, "check feed", "LC_ALL=C.UTF-8 sh -c 'exec \"$@\" < typed' sh");
  EXPECT_EQ(r.exit, 4) << r.err;
  EXPECT_EQ(r.out.find("Which half"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("Step 0"), std::string::npos);
  const json job = json::parse(run(folder, "jobs show last --json").out).at("job");
  EXPECT_EQ(job.at("title"), "Deck");
}

}  // namespace
