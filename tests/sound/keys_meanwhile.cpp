// Keys pressed while a guided job takes a capture in at a virtual sound card.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <csignal>
#include <fstream>

#include "card.hpp"
#include "check/terminal.hpp"
#include "program.hpp"

namespace {

// Several captures, so that the next can begin where it should not; of a tone that is soon over.
std::string plan(const std::string& signal) {
  std::string text = "title = \"Short\"\ntypes = [\"post\"]\n";
  for (const char* place : {"First", "Second", "Third"})
    text += fmt::format(
        "[[test]]\nkey = \"{0}\"\ntitle = \"{0} place\"\nsignal = \"{1}\"\nlimits = \"speech-path\"\n", place,
        signal);
  return text;
}
constexpr const char* tone =
    "name = \"short\"\ntitle = \"Tone, 1 kHz\"\npurpose = \"Level\"\nsource = \"common practice\"\nkind = "
    "\"sine\"\n"
    "[parameters]\nfrequency_hz = 1000\nseconds = 5\n";

void answer(check_test::Terminal& t, const char* shown, const std::string& keys) {
  ASSERT_TRUE(t.wait_for(shown, 60)) << shown << "\n" << t.screen();
  ASSERT_TRUE(t.wait_for("(?): ")) << shown << "\n" << t.screen();
  t.line(keys);
}

TEST(KeysMeanwhile, AnEnterTooManyBeginsNothingAndCtrlCSaysHowToGoOn) {
  REQUIRE_SOUND_CARD();
  const TempFolder folder;
  const auto home = folder / "store";
  std::filesystem::create_directories(home / "plans");
  std::ofstream(home / "short.toml") << tone;
  std::ofstream(home / "plans/short.toml") << plan((home / "short.toml").string());
  std::ofstream(home / "profile.toml") << "mains_hz = 50\n";
  check_test::Terminal t(home, {"check", "station", "--from", "JACK: loopback", "--to", "JACK: loopback"});
  answer(t, "Type of the station", "Post");
  answer(t, "Serial number", "7");
  answer(t, "What was reported", "");
  answer(t, "Which site did it come from", "");
  answer(t, "Which tests?", "");
  answer(t, "what is done?", "all");
  answer(t, "First place", "\r");  // twice: gloves
  ASSERT_TRUE(t.wait_for(" of ", 60)) << "the meter\n" << t.screen();
  t.type("\r\r");
  ASSERT_TRUE(t.wait_for("Measured: First place", 60)) << t.screen();
  ASSERT_TRUE(t.wait_for("Second place", 60)) << t.screen();
  ASSERT_TRUE(t.wait_for("(?): ")) << t.screen();
  EXPECT_FALSE(t.wait_for(" of ", 2)) << "it began by itself\n" << t.screen();
  t.line("");  // the card gives the very same samples again, and they are taken
  ASSERT_TRUE(t.wait_for("Measured: Second place", 60)) << t.screen();
  ASSERT_TRUE(t.wait_for("Third place", 60)) << t.screen();
  ASSERT_TRUE(t.wait_for("(?): ")) << t.screen();
  t.line("");
  ASSERT_TRUE(t.wait_for(" of ", 60)) << "the meter\n" << t.screen();
  t.kill(SIGINT);
  ASSERT_TRUE(t.wait_for("this capture is not kept", 60)) << t.screen();
  ASSERT_TRUE(t.wait_for("Go on with", 60)) << t.screen();
  ASSERT_TRUE(t.wait_for("--from 'JACK: loopback' --to 'JACK: loopback'", 60)) << t.screen();
  EXPECT_EQ(t.finish(), 4);
}

}  // namespace
