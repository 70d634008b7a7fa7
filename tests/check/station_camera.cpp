// A station with a camera on the bench, and the long run of its picture. Frames are made here.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "support/frame_synth.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

constexpr int width = 360, height = 288, rate = 25;

// A card before a wall, or bars, in the raw form of a grabber's capture.
void write_frames(const std::filesystem::path& file, int frames, int jumps_at, bool bars = false) {
  frame_synth::Scene scene;
  scene.width = width;
  scene.noise = 0.7;
  if (!bars)
    scene.picture = [](double x, double row) {
      return 0.35 + 0.05 * std::sin(row / 13 + x / 60) + 0.4 / (1 + std::exp(-(row - 290 - x / 20) / 2));
    };
  frame_synth::Source source(scene, 10, 3);
  std::vector<linebench::capture::Frame> some(10);
  for (auto& f : some) (void)source.read(f);
  std::ofstream out(file, std::ios::binary);
  std::vector<char> packed(2 * width * height);
  for (int i = 0; i < frames; ++i) {
    const auto& f = some[static_cast<std::size_t>(i % 10)];
    for (int row = 0; row < height; ++row) {
      // Every other row: one field of the scene.
      const int from = 2 * ((row + (i == jumps_at ? 50 : 0)) % height);
      for (int x = 0; x < width; ++x) {
        const auto at = static_cast<std::size_t>(2 * (row * width + x));
        packed[at] = static_cast<char>(f.y[static_cast<std::size_t>(from * width + x)]);
        packed[at + 1] = static_cast<char>(128);
      }
    }
    out.write(packed.data(), static_cast<std::streamsize>(packed.size()));
  }
  std::ofstream(std::filesystem::path(file).replace_extension(".json"))
      << json{{"width", width},    {"height", height},     {"format", "yuyv"},
              {"standard", "625"}, {"field_order", "top"}, {"frame_rate", rate}};
}

std::string head(const std::string& serial) {
  return "\"station.type\" = \"Eye\"\n\"station.serial\" = \"" + serial +
         "\"\n\"station.colour\" = \"no\"\n\"checklist.before\" = \"all\"\n\"checklist.after\" = "
         "\"all\"\n\"complaint\" = \"picture "
         "goes\"\n";
}

struct Bench {
  Folder folder;
  Bench() {
    std::filesystem::create_directories(folder.path / "home/plans");
    std::ofstream(folder.path / "home/plans/eye.toml")
        << "title = \"Eye\"\ntypes = [\"eye\"]\n[[test]]\nkey = "
           "\"camera\"\ntitle = \"Camera\"\nview = \"video\"\n"
           "seconds = 2\n";
    write_frames(folder.path / "test.camera.yuv", 20 * rate, -1, true);
  }
  json check(int expected_exit, const std::string& serial, const std::string& more) const {
    std::ofstream(folder.path / "answers.toml") << head(serial) + more;
    const auto r = run(folder, "check station --from-files . --json");
    EXPECT_EQ(r.exit, expected_exit) << r.err;
    return r.out.empty() ? json::object() : json::parse(r.out);
  }
};

// An open job goes on with the system it was begun with, on whichever laptop.
TEST(StationCamera, AnotherProfileDoesNotTouchAnOpenJob) {
  const Bench bench;
  std::ofstream(bench.folder.path / "answers.toml") << head("P1") + "\"station.next\" = \"stop\"\n";
  (void)run(bench.folder, "check station --from-files .");
  const std::string before = run(bench.folder, "jobs show last").out;
  EXPECT_NE(before.find("Camera"), std::string::npos) << before;
  ASSERT_EQ(run(bench.folder, "profile --mains 60").exit, 0);
  EXPECT_EQ(run(bench.folder, "jobs show last").out, before);
}

TEST(StationCamera, LongRunOfThePicture) {
  const Bench bench;
  const std::string soak = "\"station.next\" = \"picture-soak\"\n\"station.soak-hours\" = 0.001\n";
  write_frames(bench.folder.path / "station.soak.yuv", 4 * rate, -1);
  const json clean = bench.check(0, "C1", soak + "\"station.soaked\" = \"leave\"\n");
  EXPECT_EQ(clean.at("job").at("outcome"), "no fault found") << clean.at("points").dump(1);
  write_frames(bench.folder.path / "station.soak.yuv", 4 * rate, 61);
  const json jumped = bench.check(1, "C1", soak + "\"station.soaked\" = \"leave\"\n");
  EXPECT_EQ(jumped.at("job").at("outcome"), "fail");
  bool found = false;
  for (const auto& r : jumped.at("job").at("captures").back().at("readings")) {
    if (r.at("id") != "picture.sync.loss.times") continue;
    found = true;
    ASSERT_EQ(r.at("value").at("x").size(), 1u);
    EXPECT_NEAR(r.at("value").at("x").at(0).get<double>(), 61.0 / rate, 0.041);
  }
  EXPECT_TRUE(found);
  // The paper says it in words.
  ASSERT_EQ(run(bench.folder, "report last --out paper.html").exit, 0);
  EXPECT_NE(app_test::slurp(bench.folder.path / "paper.html").find("loses its sync at times"),
            std::string::npos);
}

TEST(StationCamera, TheOtherLongRunIsOffered) {
  const Bench bench;
  write_frames(bench.folder.path / "station.soak.yuv", 4 * rate, -1);
  const std::string run_once = "\"station.next\" = \"picture-soak\"\n\"station.soak-hours\" = 0.001\n";
  std::ofstream(bench.folder.path / "answers.toml")
      << head("C2") + run_once + "\"station.soaked\" = \"picture-soak\"\n";
  const auto same = run(bench.folder, "check station --from-files .");
  EXPECT_EQ(same.exit, 3);
  EXPECT_NE(same.err.find("or one of: leave, soak"), std::string::npos)
      << same.err.substr(same.err.size() - 300);
  // A second of the picture would not show hum bars: it passes no camera.
  write_frames(bench.folder.path / "test.camera.yuv", rate, -1, true);
  const json brief = bench.check(1, "C4", "\"station.next\" = \"done\"\n");
  EXPECT_EQ(brief.at("job").at("outcome"), "not decided") << brief.at("points").dump(1);
  EXPECT_EQ(brief.at("points").dump().find("Camera: within limits"), std::string::npos);
  write_frames(bench.folder.path / "test.camera.yuv", 20 * rate, -1, true);
  // The tone as well: it may be skipped, and the picture's run still counts.
  const json j =
      bench.check(0, "C3", run_once + "\"station.soaked\" = \"soak\"\n\"station.soak.2\" = \"skip\"\n");
  EXPECT_EQ(j.at("job").at("outcome"), "no fault found");
}

}  // namespace
