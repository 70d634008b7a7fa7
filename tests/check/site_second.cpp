// Two faults on one path: what was complained of is followed to its own part beside the likelier fault that
// the book names. The captures are sox's.
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

// A tone of 1 kHz over hiss, each part's from another second of it, with the hum of an earth loop or without.
void take(const Folder& folder, int part, double tone_dbfs, bool hums) {
  const std::string f = (folder.path / ("site.at." + std::to_string(part) + ".wav")).string();
  std::string mix = "-m";
  const auto add = [&](const std::string& source) {
    const std::string piece = f + "." + std::to_string(mix.size()) + ".wav";
    check_test::sox("-n -r 48000 -b 24 '" + piece + "' synth 20 " + source + "dB trim " +
                    std::to_string(part) + " 12");
    mix += " -v 1 '" + piece + "'";
  };
  add("sine 1000 vol " + std::to_string(tone_dbfs));
  add("whitenoise vol " + std::to_string(-85));
  if (hums) {
    add("sine 50.02 vol -43");
    add("sine 150.06 vol -50");
    add("sine 250.1 vol -57");
  }
  check_test::sox(mix + " -b 24 '" + f + "'");
}

struct Path {
  json result;
  std::string told;
  int captures = 0;
};

Path followed(const Folder& folder, const std::string& seen) {
  std::ofstream(folder.path / "answers.toml")
      << "\"site.seen\" = \"" + seen + "\"\n" + R"("site.name" = "Ferry terminal"
"site.path" = "Ticket counter 2"
"complaint" = "two things at once"
"site.where" = "one"
"site.parts" = "station, cable to hub, hub, line to master, master"
"site.cure.1" = "no"
"checklist.before" = "all"
"checklist.after" = "all"
)";
  const auto r = run(folder, "check site --from-files . --json");
  EXPECT_FALSE(r.out.empty()) << r.err;
  Path p{json::parse(r.out.empty() ? "{}" : r.out), r.err, 0};
  p.captures = static_cast<int>(p.result.at("job").at("captures").size());
  return p;
}

// 10 dB are lost from part `loss` on, and it hums from part `hum` on.
Path walked(int loss, int hum) {
  const Folder folder;
  for (int part = 1; part <= 5; ++part) take(folder, part, part < loss ? -30 : -40, part >= hum);
  return followed(folder, "level");
}

bool says(const json& j, const std::string& what) {
  for (const auto& p : j.at("points")) {
    if (p.at("what").get<std::string>().find(what) != std::string::npos) return true;
  }
  return false;
}

TEST(SiteSecond, TheComplaintIsFollowedToItsOwnPart) {
  const char* parts[] = {"station", "cable to hub", "hub", "line to master", "master"};
  for (const auto& [loss, hum] : {std::pair{3, 2}, {2, 4}, {4, 2}}) {
    const Path p = walked(loss, hum);
    const std::string at = std::to_string(loss) + " " + std::to_string(hum) + " " +
                           p.result.at("points").dump(1) + p.result.at("headline").dump();
    EXPECT_EQ(p.result.at("job").at("outcome"), "fault found") << at;
    EXPECT_TRUE(says(p.result, std::string("comes in at ") + parts[loss - 1] + ", and is a fault of its own"))
        << at;
    EXPECT_LE(p.captures, 5) << at;
    // The hum is not said to come in where the level is lost, neither before nor behind it.
    const std::string headline = p.result.at("headline");
    EXPECT_EQ(headline.find(std::string("in ") + parts[loss - 1]), std::string::npos) << at;
    EXPECT_TRUE(says(p.result, hum < loss ? std::string("The fault comes in at ") + parts[hum - 1]
                                          : std::string("it comes in behind ") + parts[hum - 2]))
        << at;
  }
}

// Crackle is complained of, and 10 dB are lost further on: that is told by its reading and its part, and no
// fault is named that the book is not sure of.
TEST(SiteSecond, ALossBesideTheComplaintIsToldByItsReading) {
  const Folder folder;
  for (int part = 1; part <= 5; ++part) {
    take(folder, part, part < 4 ? -30 : -40, false);
    if (part < 2) continue;
    check_test::breaks(
        folder.path / ("site.at." + std::to_string(part) + ".wav"),
        {.seed = 9, .count = 30, .shortest_s = .001, .longest_s = .012, .left = .05, .click = .02});
  }
  const Path p = followed(folder, "crackle");
  const std::string at = p.result.dump(1);
  EXPECT_EQ(p.result.at("job").at("outcome"), "fault found") << at;
  EXPECT_TRUE(says(p.result, "Tone gain: -10.")) << at;
  EXPECT_TRUE(says(p.result, "line to master or master, and is a fault of its own")) << at;
  EXPECT_FALSE(says(p.result, "Supply dead")) << at;
}

// Where both come in at one part, one fault may make both: it is not called a second one.
TEST(SiteSecond, OneFaultInOnePartIsOne) {
  const Path p = walked(3, 3);
  EXPECT_FALSE(says(p.result, "a fault of its own")) << p.result.at("points").dump(1);
  EXPECT_NE(p.result.dump().find("The fault comes in at hub"), std::string::npos) << p.result.dump(1);
}

}  // namespace
