// `measure` on frames, through the program itself.
#include <gtest/gtest.h>

#include <fstream>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "support/frame_synth.hpp"

namespace {
using app_test::Folder;
using app_test::run;

void write_yuv(const Folder& dir, const frame_synth::Scene& scene, int frames) {
  frame_synth::Source source(scene, frames, 3);
  std::ofstream out(dir.path / "gate.yuv", std::ios::binary);
  linebench::capture::Frame f;
  std::vector<char> packed;
  while (source.read(f)) {
    packed.clear();
    for (std::size_t i = 0; i < f.cb.size(); ++i) {
      for (const std::uint8_t c : {f.y[2 * i], f.cb[i], f.y[2 * i + 1], f.cr[i]})
        packed.push_back(static_cast<char>(c));
    }
    out.write(packed.data(), static_cast<std::streamsize>(packed.size()));
  }
  std::ofstream(dir.path / "gate.json")
      << R"({"width": 720, "height": 576, "format": "yuyv", "standard": "625",
    "field_order": "top", "frame_rate": 25})";
}

TEST(MeasurePicture, JsonVerdictAndPage) {
  const Folder dir;
  frame_synth::Scene s;
  s.coloured_bars = true;
  s.noise = 1;
  s.hum_percent = 4;
  write_yuv(dir, s, 13);
  const auto r = run(dir, "measure gate.yuv --limits picture --json --html p.html");
  EXPECT_EQ(r.exit, 1) << r.err;
  const auto j = nlohmann::json::parse(r.out);
  EXPECT_EQ(j["verdict"], "fail");
  EXPECT_EQ(j["input"]["kind"], "frames");
  bool hum = false;
  for (const auto& x : j["readings"]) {
    if (x["id"] != "picture.hum.level") continue;
    hum = true;
    EXPECT_NEAR(x["value"].get<double>(), 4, 0.2);
    EXPECT_EQ(x["verdict"], "fail");
  }
  EXPECT_TRUE(hum);
  EXPECT_NE(app_test::slurp(dir.path / "p.html").find("Hum bars"), std::string::npos);

  const auto text = run(dir, "measure gate.yuv --limits picture --view picture");
  EXPECT_NE(text.out.find("hum bars are too strong"), std::string::npos) << text.out;
  EXPECT_NE(text.out.find("bars-75"), std::string::npos);
}

// Blue, as a grabber shows when nothing comes in [common practice].
TEST(MeasurePicture, NoPictureIsNoPass) {
  const Folder dir;
  frame_synth::Scene s;
  write_yuv(dir, s, 1);
  std::ofstream out(dir.path / "gate.yuv", std::ios::binary);
  for (int i = 0; i < 10 * 720 * 576 / 2; ++i) out.write("\x29\xf0\x29\x6e", 4);
  out.close();
  const auto r = run(dir, "measure gate.yuv --json");
  EXPECT_EQ(r.exit, 1) << r.err;
  EXPECT_EQ(nlohmann::json::parse(r.out)["verdict"], "incomplete");
}

TEST(MeasurePicture, RefusesWhatDoesNotBelong) {
  const Folder dir;
  frame_synth::Scene s;
  write_yuv(dir, s, 2);
  EXPECT_EQ(run(dir, "measure gate.yuv --view audio").exit, 3);
  EXPECT_EQ(run(dir, "measure gate.yuv --tone 1000").exit, 2);
  EXPECT_EQ(run(dir, "measure gate.yuv --full-scale 1").exit, 2);
  std::filesystem::remove(dir.path / "gate.json");
  const auto r = run(dir, "measure gate.yuv");
  EXPECT_EQ(r.exit, 3);
  EXPECT_NE(r.err.find("gate.json"), std::string::npos);
}

}  // namespace
