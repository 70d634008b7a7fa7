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

// The codes ffmpeg's own decoder gives; the bars' own, of BT.601, beside them.
TEST(FrameReaders, MoviesOfYCbCrCodeByCode) {
  const TempDir dir;
  struct Case {
    const char* name;
    const char* coder;
    const char* format;
  };
  for (const Case& c : {Case{"yuyv.avi", "rawvideo", "yuyv422"}, Case{"uyvy.mkv", "rawvideo", "uyvy422"},
                        Case{"p.avi", "rawvideo", "yuv420p"}, Case{"f.mkv", "ffv1", "yuv422p"},
                        Case{"f4.avi", "ffv1", "yuv444p"}, Case{"ten.mkv", "ffv1", "yuv422p10"},
                        Case{"h.avi", "huffyuv", "yuv422p"}, Case{"v.mov", "v210", "yuv422p10"}}) {
    ffmpeg(with({"-c:v", c.coder, "-pix_fmt", c.format, dir / c.name}));
    const auto s = capture::open_frames(dir / c.name);
    EXPECT_FALSE(s->format().lossy) << c.name;
    EXPECT_FALSE(s->format().through_rgb) << c.name;
    EXPECT_NEAR(s->format().frame_rate_hz, 25, 1e-9) << c.name;
    EXPECT_EQ(s->facts().notes.size(), std::string(c.format) == "yuv420p" ? 1U : 0U) << c.name;
    capture::Frame f;
    EXPECT_EQ(read_all(*s, f), 3U) << c.name;
    expect_pal_bars(f, 1, c.name);
  }
}

// Luma below 16 and above 235, and colours that RGB has no room for, come through.
TEST(FrameReaders, MoviesKeepCodesThatRgbCutsOff) {
  const TempDir dir;
  ffmpeg({"-f", "lavfi", "-i",
          "nullsrc=s=720x576:r=25,format=yuv422p,geq=lum='2+X/3':cb='if(lt(Y,288),40,230)':cr=200",
          "-frames:v", "2", "-c:v", "ffv1", dir / "wide.mkv"});
  const auto s = capture::open_frames(dir / "wide.mkv");
  capture::Frame f;
  ASSERT_EQ(read_all(*s, f), 2U);
  for (std::size_t x = 0; x < 720; ++x) ASSERT_EQ(f.y[100 * 720 + x], 2 + x / 3) << x;
  EXPECT_EQ(f.cb[10 * 360 + 7], 40);
  EXPECT_EQ(f.cb[500 * 360 + 7], 230);
  EXPECT_EQ(f.cr[500 * 360 + 7], 200);
}

TEST(FrameReaders, MoviesSayWhatTheyLost) {
  const TempDir dir;
  ffmpeg(with({"-c:v", "ffv1", "-pix_fmt", "bgr0", dir / "rgb.mkv"}));
  const auto rgb = capture::open_frames(dir / "rgb.mkv");
  EXPECT_FALSE(rgb->format().lossy);
  EXPECT_TRUE(rgb->format().through_rgb);
  EXPECT_FALSE(rgb->facts().notes.empty());
  capture::Frame f;
  EXPECT_EQ(read_all(*rgb, f), 3U);
  expect_pal_bars(f, 2, "rgb");

  ffmpeg(with({"-c:v", "mjpeg", "-q:v", "2", "-pix_fmt", "yuvj422p", dir / "j.avi"}));
  const auto jpeg = capture::open_frames(dir / "j.avi");
  EXPECT_TRUE(jpeg->format().lossy);
  EXPECT_EQ(read_all(*jpeg, f), 3U);
  expect_pal_bars(f, 3, "full range");

  ffmpeg(with({"-c:v", "libx264", "-pix_fmt", "yuv420p", "-qp", "4", dir / "x.mp4"}));
  const auto coded = capture::open_frames(dir / "x.mp4");
  EXPECT_TRUE(coded->format().lossy);
  EXPECT_FALSE(coded->format().through_rgb);
  EXPECT_EQ(read_all(*coded, f), 3U);
  expect_pal_bars(f, 2, "h264");
}

TEST(FrameReaders, MoviesSayTheirFieldOrder) {
  const TempDir dir;
  for (const bool top : {true, false}) {
    ffmpeg(with({"-field_order", top ? "tt" : "bb", "-c:v", "ffv1", dir / "o.mkv"}));
    EXPECT_EQ(capture::open_frames(dir / "o.mkv")->format().top_field_first, top);
  }
}

// A list of other names, called a movie, makes nobody open them.
TEST(FrameReaders, AMovieOpensNoOtherFile) {
  const TempDir dir;
  ffmpeg(with({"-c:v", "ffv1", dir / "a.mkv"}));
  std::ofstream(dir / "list.avi") << "#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n";
  EXPECT_THROW((void)capture::open_frames(dir / "list.avi"), Error);
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
