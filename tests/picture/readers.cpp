// Every way frames come in, against what ffmpeg put there.
#include <gtest/gtest.h>

#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/standards/video_colour.hpp>
#include <string>

#include "support/python.hpp"

namespace {
using namespace linebench;
using testing_support::TempDir;

void ffmpeg(std::vector<std::string> args) {
  args.insert(args.begin(), {"/usr/bin/ffmpeg", "-v", "error", "-y"});
  const auto r = testing_support::run_program(args);
  ASSERT_EQ(r.status, 0) << r.err;
}

void write_sidecar(const std::string& path, const std::string& more = "") {
  std::ofstream(path) << R"({"width": 720, "height": 576, "format": "yuyv", "standard": "625",
    "field_order": "top", "frame_rate": 25)"
                      << more << "}";
}

// 75 % bars' codes [BT.601, computed] of pal75bars: white is 235 there.
void expect_pal_bars(const capture::Frame& f, int slack, const char* what) {
  ASSERT_EQ(f.y.size(), 720U * 576U) << what;
  for (int bar = 0; bar < 8; ++bar) {
    const auto c = standards::code601_from_rgb(standards::bar_rgb(standards::bars_100_0_75_0, bar));
    const auto at = static_cast<std::size_t>(100 * 720 + (2 * bar + 1) * 45);
    EXPECT_NEAR(f.y[at], c.y, slack + 0.6) << what << " bar " << bar;
    EXPECT_NEAR(f.cb[at / 2], c.cb, slack + 0.6) << what << " bar " << bar;
    EXPECT_NEAR(f.cr[at / 2], c.cr, slack + 0.6) << what << " bar " << bar;
  }
}

std::size_t read_all(capture::FrameSource& s, capture::Frame& last) {
  std::size_t n = 0;
  while (s.read(last)) ++n;
  return n;
}

const std::vector<std::string> bars_source = {"-f",        "lavfi", "-i", "pal75bars=size=720x576:rate=25",
                                              "-frames:v", "3"};
std::vector<std::string> with(std::vector<std::string> more) {
  std::vector<std::string> args = bars_source;
  args.insert(args.end(), more.begin(), more.end());
  return args;
}

TEST(FrameReaders, RawYuyvWithSidecar) {
  const TempDir dir;
  ffmpeg(with({"-pix_fmt", "yuyv422", "-f", "rawvideo", dir / "a.yuv"}));
  write_sidecar(dir / "a.json", R"(, "lost": [[1, 4]], "corrupt": [2], "dropped": 4)");
  const auto s = capture::open_frames(dir / "a.yuv");
  EXPECT_EQ(s->format().lines, 625);
  EXPECT_EQ(s->format().top_field_first, true);
  EXPECT_FALSE(s->format().lossy);
  EXPECT_EQ(s->facts().frames, 3U);
  EXPECT_EQ(s->facts().kind, "frames");
  capture::Frame f;
  ASSERT_TRUE(s->read(f));
  EXPECT_EQ(f.number, 0U);
  expect_pal_bars(f, 1, "yuv");
  ASSERT_TRUE(s->read(f));
  EXPECT_EQ(f.number, 5U);  // four were lost before it
  ASSERT_TRUE(s->read(f));
  EXPECT_TRUE(f.corrupt);
  EXPECT_FALSE(s->read(f));
}

TEST(FrameReaders, UncompressedMoviesCodeByCode) {
  const TempDir dir;
  for (const auto& [name, format] :
       {std::pair{"yuyv.avi", "yuyv422"}, {"uyvy.mkv", "uyvy422"}, {"p.avi", "yuv420p"}}) {
    ffmpeg(with({"-c:v", "rawvideo", "-pix_fmt", format, dir / name}));
    const auto s = capture::open_frames(dir / name);
    EXPECT_FALSE(s->format().lossy) << name;
    EXPECT_FALSE(s->format().through_rgb) << name;
    EXPECT_NEAR(s->format().frame_rate_hz, 25, 1e-9);
    capture::Frame f;
    EXPECT_EQ(read_all(*s, f), 3U) << name;
    expect_pal_bars(f, 1, name);
  }
}

TEST(FrameReaders, CodedMoviesSayWhatTheyLose) {
  const TempDir dir;
  ffmpeg(with({"-c:v", "ffv1", "-pix_fmt", "yuv422p", dir / "f.mkv"}));
  const auto kept = capture::open_frames(dir / "f.mkv");
  EXPECT_FALSE(kept->format().lossy);
  EXPECT_TRUE(kept->format().through_rgb);
  EXPECT_FALSE(kept->facts().notes.empty());
  capture::Frame f;
  EXPECT_EQ(read_all(*kept, f), 3U);
  expect_pal_bars(f, 2, "ffv1");

  ffmpeg(with({"-c:v", "mjpeg", "-pix_fmt", "yuvj422p", dir / "j.avi"}));
  EXPECT_TRUE(capture::open_frames(dir / "j.avi")->format().lossy);
}

TEST(FrameReaders, StillsInARow) {
  const TempDir dir;
  ffmpeg(with({dir / "s-%03d.png"}));
  const auto s = capture::open_frames(dir / "s-002.png");
  EXPECT_EQ(s->facts().frames, 2U);
  capture::Frame f;
  EXPECT_EQ(read_all(*s, f), 2U);
  expect_pal_bars(f, 2, "png");
  EXPECT_EQ(capture::open_frames(dir.path())->facts().frames, 3U);
  EXPECT_TRUE(capture::looks_like_frames(dir.path()));
}

std::string refusal(const std::filesystem::path& file) {
  try {
    (void)capture::open_frames(file);
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Unusable);
    return e.what();
  }
  return "accepted";
}

TEST(FrameReaders, BadInputIsNamed) {
  const TempDir dir;
  std::ofstream(dir / "n.yuv") << std::string(1000, 'x');
  EXPECT_NE(refusal(dir / "n.yuv").find("n.json"), std::string::npos);
  write_sidecar(dir / "n.json");
  EXPECT_NE(refusal(dir / "n.yuv").find("cut off"), std::string::npos);
  std::ofstream(dir / "n.json") << R"({"width": 720})";
  EXPECT_NE(refusal(dir / "n.yuv").find("height"), std::string::npos);
  std::ofstream(dir / "n.json") << R"({"width": 720, "height": 576, "format": "nv12"})";
  EXPECT_NE(refusal(dir / "n.yuv").find("nv12"), std::string::npos);
  // A standard, a height or a rate of the other standard would put hum at a wrong frequency.
  std::ofstream(dir / "n.json") << R"({"width": 720, "height": 576, "standard": "525", "frame_rate": 25})";
  EXPECT_NE(refusal(dir / "n.yuv").find("do not belong together"), std::string::npos);
  std::ofstream(dir / "n.json") << R"({"width": 720, "height": 576, "standard": "625", "frame_rate": 29.97})";
  EXPECT_NE(refusal(dir / "n.yuv").find("do not belong together"), std::string::npos);
  std::ofstream(dir / "n.json") << R"({"width": 720, "height": 480, "standard": "625", "frame_rate": 25})";
  EXPECT_NE(refusal(dir / "n.yuv").find("do not belong together"), std::string::npos);
  std::ofstream(dir / "t.avi") << "not a movie at all";
  EXPECT_NE(refusal(dir / "t.avi").find("t.avi"), std::string::npos);
  std::ofstream(dir / "t.png") << "not a picture";
  EXPECT_NE(refusal(dir / "t.png").find("t.png"), std::string::npos);
  // A damaged one: libpng's own words do not come before ours.
  std::ofstream(dir / "d.png") << "\x89PNG\r\n\x1a\n" << std::string(3000, 'x');
  testing::internal::CaptureStderr();
  EXPECT_NE(refusal(dir / "d.png").find("export or copy it again"), std::string::npos);
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "");
  EXPECT_NE(refusal(dir / "s-%03d.png").find("name the first"), std::string::npos);
  EXPECT_NE(refusal(dir / "none.yuv").find("no such file"), std::string::npos);
  std::ofstream(dir / "e.yuv") << "";
  EXPECT_NE(refusal(dir / "e.yuv").find("empty"), std::string::npos);
}

}  // namespace
