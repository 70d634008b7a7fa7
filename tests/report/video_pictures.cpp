// Pictures of a composite signal: what is drawn lies where the signal and the standard say.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/measure/video.hpp>
#include <linebench/measure/video_traces.hpp>
#include <linebench/report/page.hpp>
#include <linebench/report/video_pictures.hpp>

#include "support/video_synth.hpp"

namespace {

using namespace linebench;

struct Measured {
  report::Document document;
  measure::VideoTraces traces;
};

Measured measured(bool is_625, std::vector<int> lines = {}) {
  video_synth::Wave w = is_625 ? video_synth::wave_625() : video_synth::wave_525();
  const double white = is_625 ? 700 : 5000.0 / 7;
  w.picture = video_synth::bars(w, white, 0.75, 0.75, is_625 ? 0 : 0.075 * white);
  w.noise_mv = 1;
  video_synth::MemoryVideo source(18e6, video_synth::make(w, 18e6, 0.14));
  Measured m;
  for (const int n : lines) m.traces.chosen.push_back({n, {}, {}});
  m.document.command = "measure";
  m.document.readings = measure::measure_video(source, {}, {}, nullptr, &m.traces);
  m.document.input = source.facts();
  return m;
}

double at(const measure::VideoTraces::Line& l, double us) {
  const auto i = std::lower_bound(l.us.begin(), l.us.end(), us) - l.us.begin();
  return l.mv.at(static_cast<std::size_t>(i));
}

TEST(VideoPictures, TracesFollowTheSignal) {
  for (const bool is_625 : {true, false}) {
    const Measured m = measured(is_625, {60, 61});
    ASSERT_EQ(m.traces.chosen.size(), 2U);
    EXPECT_EQ(m.traces.chosen[0].number, 60);
    EXPECT_EQ(m.traces.chosen[1].number, 61);
    EXPECT_NEAR(at(m.traces.chosen[0], 2.3), is_625 ? -300 : -285.7, 5);
    EXPECT_NEAR(at(m.traces.chosen[0], 13), is_625 ? 525 : 549.1, 5);  // 75 % white [170M, BT.470], computed
    EXPECT_EQ(m.traces.overlaid.size(), 24U);
    // Burst: 300 or 285.7 mV p-p, at 135 degrees (V switch undone) or 180.
    EXPECT_NEAR(std::abs(m.traces.burst), is_625 ? 150 : 142.9, 2);
    EXPECT_NEAR(std::abs(std::arg(m.traces.burst)) * 180 / std::numbers::pi, is_625 ? 135 : 180, 1);
    // Red of 75 % bars: 664.0 mV p-p (625), 626.7 mV (525), at 103.5 degrees.
    const double red = 0.5 * (is_625 ? 664.0 : 626.7);
    const std::complex<double> where = std::polar(red, 103.5 * std::numbers::pi / 180);
    double nearest = 1e9;
    for (const auto& v : m.traces.chroma) nearest = std::min(nearest, std::abs(v - where));
    EXPECT_LT(nearest, 0.02 * red);
    // The spectrum's highest line above 2 MHz is the subcarrier, or the sideband beside it that the bars
    // make: a line's spectrum has steps of the line rate.
    double top = -1e9;
    double hz = 0;
    for (std::size_t i = 0; i < m.traces.spectrum.x.size(); ++i) {
      if (m.traces.spectrum.x[i] > 2e6 && m.traces.spectrum.y[i] > top) {
        top = m.traces.spectrum.y[i];
        hz = m.traces.spectrum.x[i];
      }
    }
    EXPECT_NEAR(hz, is_625 ? 4.4336e6 : 3.5795e6, 2 * 15.7e3);
  }
}

TEST(VideoPictures, DrawingPutsTheSignalOnTheStandardsLevels) {
  const Measured m = measured(true);
  const signals::Drawing d = report::draw_video(m.document, m.traces);
  ASSERT_GT(d.height, 1500);  // line, overlay, chrominance, spectrum
  // First chart: rules first, then the standard's levels across the whole width, then the signal.
  const auto across = [](const signals::DrawnLine& l) { return l.points.size() == 2 && l.colour[0] == 0xab; };
  const auto level = std::find_if(d.lines.begin(), d.lines.end(), across);
  ASSERT_NE(level, d.lines.end());
  const double sync_y = level->points[0][1];
  const double white_y = std::next(level, 2)->points[0][1];
  const auto wave =
      std::find_if(d.lines.begin(), d.lines.end(), [](const auto& l) { return l.points.size() > 500; });
  ASSERT_NE(wave, d.lines.end());
  double lowest = 0;
  for (const auto& p : wave->points) lowest = std::max(lowest, p[1]);
  const double px_per_mv = (sync_y - white_y) / 1000;
  EXPECT_NEAR(lowest, sync_y, 8 * px_per_mv);
  for (const auto& t : d.texts) {
    EXPECT_TRUE(std::all_of(t.text.begin(), t.text.end(), [](char c) { return c >= ' ' && c < 127; }))
        << t.text;
  }
}

TEST(VideoPictures, ThePageHoldsThem) {
  const Measured m = measured(false);
  const std::string page = report::html_page({}, {{m.document, {}, m.traces}});
  for (const char* title : {"lines of one frame", "Chrominance", "Spectrum", "R-Y", "where the bars"})
    EXPECT_NE(page.find(title), std::string::npos) << title;
}

}  // namespace
