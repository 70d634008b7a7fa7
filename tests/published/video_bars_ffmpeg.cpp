// Our BT.601 bars against ffmpeg's bar sources, code by code, where they mean the same.
#include <gtest/gtest.h>

#include <linebench/signals/video_frame.hpp>
#include <linebench/standards/video_colour.hpp>
#include <string>
#include <vector>

#include "support/python.hpp"

namespace {
using namespace linebench;

// Y, Cb, Cr in the middle of each of n bars of a row, from ffmpeg.
std::vector<signals::YuyvFrame::Pixel> ffmpeg_bars(const std::string& source, int width, int height,
                                                   int bars) {
  const auto r =
      testing_support::run_program({"/usr/bin/ffmpeg", "-v", "error", "-f", "lavfi", "-i",
                                    source + "=size=" + std::to_string(width) + "x" + std::to_string(height),
                                    "-frames:v", "1", "-pix_fmt", "yuyv422", "-f", "rawvideo", "-"});
  EXPECT_EQ(r.status, 0) << r.err;
  std::vector<signals::YuyvFrame::Pixel> out;
  if (r.out.size() != static_cast<std::size_t>(2 * width * height)) return out;
  for (int i = 0; i < bars; ++i) {
    const int column = (2 * i + 1) * width / (2 * bars) / 2 * 2;
    const auto at = static_cast<std::size_t>(2 * (height / 4 * width + column));
    const auto byte = [&](std::size_t k) {
      return static_cast<int>(static_cast<unsigned char>(r.out[at + k]));
    };
    out.push_back({byte(0), byte(1), byte(3)});
  }
  return out;
}

void expect_same(const signals::YuyvFrame& ours, const std::vector<signals::YuyvFrame::Pixel>& theirs,
                 int first_bar, const char* what) {
  ASSERT_FALSE(theirs.empty());
  for (std::size_t i = 0; i < theirs.size(); ++i) {
    const int bar = first_bar + static_cast<int>(i);
    const auto p = ours.at((2 * bar + 1) * 720 / 16, ours.height / 2);
    // ffmpeg's tables are rounded once more in places: one code of difference.
    EXPECT_NEAR(p.y, theirs[i].y, 1) << what << " " << standards::bar_names[static_cast<std::size_t>(bar)];
    EXPECT_NEAR(p.cb, theirs[i].cb, 1) << what << " " << standards::bar_names[static_cast<std::size_t>(bar)];
    EXPECT_NEAR(p.cr, theirs[i].cr, 1) << what << " " << standards::bar_names[static_cast<std::size_t>(bar)];
  }
}

signals::YuyvFrame bars(const char* form, const standards::VideoStandard& s, int height) {
  return signals::make_frame(signals::describe({.picture = "bars", .form = form}, s), s, 0, height);
}

TEST(BarsAgainstFfmpeg, SameCodes) {
  expect_same(bars("75", standards::video_525_no_setup, 480), ffmpeg_bars("smptebars", 720, 480, 7), 0,
              "smptebars");
  expect_same(bars("100-0-75-0", standards::video_625, 576), ffmpeg_bars("pal75bars", 720, 576, 8), 0,
              "pal75bars");
  expect_same(bars("100", standards::video_625, 576), ffmpeg_bars("pal100bars", 720, 576, 8), 0,
              "pal100bars");
}

// The published codes exactly, on every row, in the middle of every bar.
TEST(BarsAgainstFfmpeg, PublishedCodesInTheFrame) {
  const int expected[8][3] = {{180, 128, 128}, {162, 44, 142}, {131, 156, 44}, {112, 72, 58},
                              {84, 184, 198},  {65, 100, 212}, {35, 212, 114}, {16, 128, 128}};
  for (const auto& [s, height] : {std::pair{&standards::video_525_no_setup, 486},
                                  {&standards::video_525_no_setup, 480},
                                  {&standards::video_625, 576}}) {
    const auto f = bars("75", *s, height);
    ASSERT_EQ(f.bytes.size(), static_cast<std::size_t>(2 * 720 * height));
    EXPECT_EQ(f.top_field_first, height == 576);
    for (int row = 0; row < height; row += 37) {
      for (int i = 0; i < 8; ++i) {
        const auto p = f.at((2 * i + 1) * 720 / 16, row);
        EXPECT_EQ(p.y, expected[i][0]) << i << " row " << row;
        EXPECT_EQ(p.cb, expected[i][1]) << i << " row " << row;
        EXPECT_EQ(p.cr, expected[i][2]) << i << " row " << row;
      }
    }
    EXPECT_EQ(f.at(0, 0).y, 180);  // bars reach to both ends of the digital line
    EXPECT_EQ(f.at(719, 0).y, 16);
  }
}

}  // namespace
