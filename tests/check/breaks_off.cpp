// Sound that breaks off, and does or does not come back: followed on a site by halves, never called cured,
// never passed on the bench. Captures are made by sox.
#include "app/run_program.hpp"
#include "station_bench.hpp"

using namespace app_test;
using nlohmann::json;

namespace {

namespace fs = std::filesystem;

// A tone for twelve seconds, with silence from `from` for `away` seconds, over a hiss of its own.
void tone(const fs::path& file, double db, double from = 0, double away = 0) {
  const std::string f = file.string(), sent = f + ".sent.wav", hiss = f + ".hiss.wav";
  const std::string cut =
      away > 0 ? " trim 0 " + std::to_string(from) + " pad 0 " + std::to_string(12 - from) + " trim 0 12"
               : "";
  check_test::sox("-n -r 16000 -b 24 '" + sent + "' synth 12 sine 1000 vol " + std::to_string(db) + "dB" +
                  cut);
  if (from + away < 12 && away > 0) {
    const std::string rest = f + ".rest.wav";
    check_test::sox("-n -r 16000 -b 24 '" + rest + "' synth " + std::to_string(12 - from - away) +
                    " sine 1000 vol " + std::to_string(db) + "dB pad " + std::to_string(from + away) + " 0");
    check_test::sox("-m -v 1 '" + sent + "' -v 1 '" + rest + "' -b 24 '" + f + ".both.wav'");
    fs::rename(f + ".both.wav", sent);
    fs::remove(rest);
  }
  check_test::sox("-n -r 16000 -b 24 '" + hiss + "' synth 12 whitenoise vol -84dB");
  check_test::sox("-m -v 1 '" + sent + "' -v 1 '" + hiss + "' -b 24 '" + f + "'");
  fs::remove(sent);
  fs::remove(hiss);
}

const std::string site = R"("site.name" = "Ferry terminal"
"site.path" = "Ticket counter 2"
"complaint" = "sound breaks off"
"site.seen" = "crackle"
"site.where" = "one"
"site.parts" = "station, cable, hub, line, master"
"checklist.before" = "all"
"checklist.after" = "all"
)";

json points_of(const Folder& folder, const std::string& answers, std::string& told) {
  std::ofstream(folder.path / "answers.toml") << answers;
  const auto r = run(folder, "check site --from-files . --json");
  told = r.err;
  return r.out.empty() ? json::object() : json::parse(r.out);
}

}  // namespace

TEST(BreaksOff, ALongLossIsFollowedByHalvesToItsPart) {
  for (const double away : {3.0, 9.0}) {  // comes back; does not
    const Folder folder;
    int n = 0;
    for (const bool good : {true, true, false, false, false}) {
      ++n;
      tone(folder.path / ("site.at." + std::to_string(n) + ".wav"), -30 - 0.01 * n, 4 + 0.1 * n,
           good ? 0 : away);
    }
    std::string told;
    const json j = points_of(folder, site + "\"site.cure.1\" = \"no\"\n", told);
    EXPECT_NE(told.find("The fault comes in at hub"), std::string::npos) << told;
    EXPECT_EQ(told.find("Nothing wrong was taken in"), std::string::npos) << told;
    EXPECT_EQ(j.at("job").at("outcome"), "fault found") << j.dump(1);
  }
}

TEST(BreaksOff, APathThatDiesAfterTheChangeIsNotCured) {
  const Folder folder;
  int n = 0;
  for (const bool good : {true, true, false, false, false}) {
    ++n;
    tone(folder.path / ("site.at." + std::to_string(n) + ".wav"), -30 - 0.01 * n, 5 + 0.1 * n,
         good ? 0 : 0.1);
  }
  tone(folder.path / "site.after.1.wav", -30.2, 2, 10);
  std::string told;
  const json j = points_of(
      folder,
      site + "\"site.cure.1\" = \"yes\"\n\"site.did.1\" = \"changed the hub\"\n\"site.cure.2\" = \"no\"\n",
      told);
  EXPECT_NE(j.at("job").at("outcome"), "cured") << j.at("points").dump(1);
  EXPECT_EQ(told.find("No fault before"), std::string::npos) << told;
}

TEST(BreaksOff, AStationThatDiesFallsOrBreaksOffDoesNotPass) {
  for (const std::string effects : {"gain -1 trim 0 12 pad 0 8", "gain -1"}) {
    const check_test::Bench bench;
    bench.returned("sweep-speech", "test.listen", "gain -1");
    bench.returned("tone-1k", "test.level", effects);
    const bool whole = effects == "gain -1";
    const json j = bench.check(
        whole ? 0 : 1, check_test::answers(whole ? "1" : "2", whole ? "\"station.next\" = \"done\"\n"
                                                                    : "\"station.next\" = \"fail\"\n"));
    EXPECT_EQ(j.at("job").at("outcome") == "pass", whole) << j.dump(1);
  }
}

// What is missing at the end of a sweep: the path broke off, or the recorder was stopped first, which says
// nothing of the path.
TEST(BreaksOff, ASweepsLastFiftieth) {
  const check_test::Bench bench;
  const auto rest = [](double keep_s) { return " trim 0 " + std::to_string(keep_s); };
  bench.returned("tone-1k", "test.level", "gain -1");
  // The sweep begins at once and sounds for 8 s, with 2 s of silence behind it.
  bench.returned("sweep-speech", "test.listen", "gain -1" + rest(7.84) + " pad 0 2");
  const json lost = bench.check(1, check_test::answers("S1", "\"station.next\" = \"leave\"\n"));
  ASSERT_TRUE(lost.contains("points"));
  EXPECT_NE(lost.at("points").dump().find("Dropouts: 1"), std::string::npos) << lost.at("points").dump(1);

  bench.returned("sweep-speech", "test.listen", "gain -1" + rest(7.84));
  std::ofstream(bench.folder.path / "answers.toml")
      << check_test::answers("S2", "\"station.next\" = \"leave\"\n");
  const auto r = run(bench.folder, "check station --from-files .");
  EXPECT_EQ(r.exit, 3) << r.out;
  EXPECT_NE(r.err.find("the recording ends 0.2 s before the sweep does"), std::string::npos) << r.err;

  bench.returned("sweep-speech", "test.listen", "gain -1" + rest(8.05));
  const json whole = bench.check(0, check_test::answers("S3", "\"station.next\" = \"done\"\n"));
  EXPECT_EQ(whole.at("job").at("outcome"), "pass") << whole.at("points").dump(1);
}
