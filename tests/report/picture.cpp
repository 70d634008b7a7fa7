// The page of a picture measurement: what was found is drawn on the frame.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/draft.hpp>
#include <linebench/report/page.hpp>
#include <linebench/report/view.hpp>
#include <numbers>

#include "support/frame_synth.hpp"

namespace {
using namespace linebench;
using frame_synth::Scene;

report::PageSection section_of(const Scene& scene, int frames) {
  frame_synth::Source source(scene, frames, 3);
  report::PageSection s;
  s.picture.emplace();
  s.document.command = "measure";
  s.document.verdict = "pass";
  s.document.readings = measure::measure_picture(source, {}, {}, nullptr, &*s.picture);
  s.thumbnail = {1, 2, 3, 4};
  return s;
}
std::string page_of(const report::PageSection& s) { return report::html_page({}, {s}); }
bool has(const std::string& page, const char* what) { return page.find(what) != std::string::npos; }

TEST(PicturePage, HumBarsAreDrawnBesideTheFrame) {
  Scene scene;
  scene.noise = 1;
  scene.hum_percent = 4;
  scene.hum_hz = 50.6;
  const report::PageSection s = section_of(scene, 60);
  const std::string page = page_of(s);
  EXPECT_TRUE(has(page, "data:image/png;base64,AQIDBA=="));  // RFC 4648: 01 02 03 04
  EXPECT_TRUE(has(page, "the hum that was found, row by row"));
  EXPECT_TRUE(has(page, "Spectrum of the row means"));
  EXPECT_TRUE(has(page, "50.60 Hz"));
  EXPECT_TRUE(has(page, "Level along the line"));
  // The spectrum shows it where it is, as large as it is, and no multiples that are not there.
  const auto& t = *s.picture;
  std::size_t top = 0;
  double other = 0;
  for (std::size_t i = 0; i < t.spectrum_hz.size(); ++i) {
    if (t.spectrum_codes[i] > t.spectrum_codes[top]) top = i;
    if (std::abs(t.spectrum_hz[i] - 50.6) > 1.5) other = std::max(other, t.spectrum_codes[i]);
  }
  EXPECT_NEAR(t.spectrum_hz[top], 50.6, 0.5);
  EXPECT_NEAR(2 * t.spectrum_codes[top], 0.04 * 219, 0.4);
  EXPECT_LT(other, 0.01 * t.spectrum_codes[top]);
}

TEST(PicturePage, JitteredEdgeAndRoll) {
  Scene scene;
  scene.noise = 1;
  scene.jitter = 1;
  EXPECT_TRUE(has(page_of(section_of(scene, 8)), "how far each line stands sideways"));
  Scene rolling;
  rolling.noise = 1;
  rolling.picture = frame_synth::landscape;
  rolling.roll = 3;
  const std::string page = page_of(section_of(rolling, 12));
  EXPECT_TRUE(has(page, "The picture moves down by 3.00 lines a frame."));
  EXPECT_TRUE(has(page, "Track of the roll"));
  EXPECT_TRUE(has(page_of(section_of(Scene{}, 4)), "Nothing found to draw on it."));
}

// Codes of full white, black and 100 % red [BT.601, table values 235/16/81, 90, 240] become RGB.
TEST(PicturePage, ThumbnailShowsTheCodesColours) {
  measure::PictureTraces t;
  t.width = t.height = 8;
  const auto fill = [&](int y, int cb, int cr) {
    t.y.assign(64, static_cast<std::uint8_t>(y));
    t.cb.assign(32, static_cast<std::uint8_t>(cb));
    t.cr.assign(32, static_cast<std::uint8_t>(cr));
    return report::thumbnail(t);
  };
  const auto near = [](const report::Thumbnail& p, int b, int g, int r) {
    ASSERT_EQ(p.bgr.size(), 48U);
    EXPECT_NEAR(p.bgr[0], b, 2);
    EXPECT_NEAR(p.bgr[1], g, 2);
    EXPECT_NEAR(p.bgr[2], r, 2);
  };
  near(fill(235, 128, 128), 255, 255, 255);
  near(fill(16, 128, 128), 0, 0, 0);
  near(fill(81, 90, 240), 0, 0, 255);
  t.cr.clear();
  EXPECT_EQ(report::thumbnail(t).width, 0);
}

// A pass says what the picture did not show: of a live one also bars that hardly move, whatever was not
// found.
TEST(PictureVerdict, SaysWhatIsNotExcluded) {
  const auto headline = [](const char* pattern, std::optional<double> less_than) {
    report::Document d;
    d.limit_set = "picture";
    d.verdict = "pass";
    d.readings = {text_reading("picture.pattern", pattern),
                  unmeasurable("picture.hum.level", "none found", less_than)};
    Limit limit;
    limit.max = 1;
    d.readings.back().limit = limit;
    return report::make_view(d, false).headline;
  };
  EXPECT_NE(headline("none", std::nullopt).find("not excluded: Hum bars"), std::string::npos);
  EXPECT_NE(headline("none", 0.4).find("not excluded: hum bars that stand or move slowly"),
            std::string::npos);
  EXPECT_NE(headline("flat", 2.0).find("not excluded: Hum bars"), std::string::npos);
  EXPECT_EQ(headline("flat", 0.4).find("not excluded"), std::string::npos);
}

}  // namespace
