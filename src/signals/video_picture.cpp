#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <linebench/base/error.hpp>
#include <linebench/signals/video_picture.hpp>
#include <linebench/standards/video_colour.hpp>
#include <stdexcept>

#include "video_test_lines.hpp"

namespace linebench::signals {
namespace {

using standards::VideoStandard;

std::vector<TestBand> whole(const VideoStandard& s, TestLine line) {
  return {{0, s.active_rows - 1, std::move(line)}};
}

// A band of rows from .. to (shares of the height) of one line over another.
std::vector<TestBand> middle(const VideoStandard& s, double from, double to, const TestLine& outside,
                             const TestLine& inside) {
  // Even row counts, so that both fields show the same.
  const int first = 2 * static_cast<int>(std::lround(from * s.active_rows / 2));
  const int last = 2 * static_cast<int>(std::lround(to * s.active_rows / 2)) - 1;
  return {{0, first - 1, outside}, {first, last, inside}, {last + 1, s.active_rows - 1, outside}};
}

std::vector<TestBand> crosshatch(const VideoStandard& s) {
  constexpr int squares = 12;  // 12 rows of squares; 16 columns make them square at 4:3
  std::vector<TestBand> bands;
  int next = 0;
  for (int i = 0; i <= squares; ++i) {
    // One line in each field, so that the horizontal lines do not flicker.
    const int at = std::min(2 * static_cast<int>(std::lround(i * (s.active_rows - 2) / (2.0 * squares))),
                            s.active_rows - 2);
    if (at > next) bands.push_back({next, at - 1, lines::hatch(s, 4 * squares / 3)});
    bands.push_back({at, at + 1, lines::flat(s, 100, "crosshatch")});
    next = at + 2;
  }
  return bands;
}

// One capture that gives every reading: ten bands, top to bottom.
std::vector<TestBand> all_bands(const VideoStandard& s) {
  const std::array<TestLine, 10> content = {
      lines::bars(s, s.is_525() ? standards::bars_75 : standards::bars_100_0_75_0),
      lines::flat(s, 100, "flat"),
      lines::composite(s),
      lines::multiburst(s),
      lines::staircase(s, 5, true),
      lines::staircase(s, 5, false),
      lines::ramp(s, false),
      lines::pulse_bar(s),
      lines::flat(s, 50, "flat"),
      lines::flat(s, 0, "flat"),
  };
  std::vector<TestBand> bands;
  const int pairs = s.active_rows / 2;
  const int n = static_cast<int>(content.size());
  for (int i = 0; i < n; ++i) {
    bands.push_back(
        {2 * (i * pairs / n), 2 * ((i + 1) * pairs / n) - 1, content[static_cast<std::size_t>(i)]});
  }
  return bands;
}

standards::BarForm bar_form(const std::string& name) {
  for (const auto& f : {standards::bars_75, standards::bars_100, standards::bars_100_0_75_0}) {
    if (f.name == name) return f;
  }
  throw bad_usage(fmt::format("bars: form '{}' is unknown; use 75, 100 or 100-0-75-0", name));
}

void check_percent(double v, std::string_view what) {
  if (!(v >= 0 && v <= 100)) throw bad_usage(fmt::format("{}: {} % is out of range; use 0 to 100", what, v));
}

TestPicture make_bounce(const PictureSpec& p, const VideoStandard& s) {
  check_percent(p.low_percent, "bounce, low level");
  check_percent(p.high_percent, "bounce, high level");
  if (!(p.seconds >= 0.1 && p.seconds <= 60)) {
    throw bad_usage(fmt::format("bounce: {} s at each level is out of range; use 0.1 to 60", p.seconds));
  }
  TestPicture t;
  t.bands = whole(s, lines::flat(s, p.low_percent, "bounce"));
  t.alternate = whole(s, lines::flat(s, p.high_percent, "bounce"));
  t.alternate_every_frames = std::max(1, static_cast<int>(std::lround(p.seconds * s.frame_rate_hz())));
  return t;
}

using Maker = TestPicture (*)(const PictureSpec&, const VideoStandard&);
struct Named {
  std::string_view name;
  Maker make;
};

template <typename Bands>
TestPicture still(Bands bands) {
  TestPicture t;
  t.bands = std::move(bands);
  return t;
}

constexpr std::array<Named, 15> pictures = {{
    {"bars", [](const PictureSpec& p,
                const VideoStandard& s) { return still(whole(s, lines::bars(s, bar_form(p.form)))); }},
    {"staircase",
     [](const PictureSpec& p, const VideoStandard& s) {
       if (p.risers != 5 && p.risers != 10)
         throw bad_usage(fmt::format("staircase: {} risers; use 5 or 10", p.risers));
       return still(whole(s, lines::staircase(s, p.risers, p.subcarrier)));
     }},
    {"ramp", [](const PictureSpec& p,
                const VideoStandard& s) { return still(whole(s, lines::ramp(s, p.subcarrier))); }},
    {"pulse-bar",
     [](const PictureSpec&, const VideoStandard& s) { return still(whole(s, lines::pulse_bar(s))); }},
    {"modulated-pulse",
     [](const PictureSpec&, const VideoStandard& s) { return still(whole(s, lines::modulated_pulse(s))); }},
    {"composite-line",
     [](const PictureSpec&, const VideoStandard& s) { return still(whole(s, lines::composite(s))); }},
    {"multiburst",
     [](const PictureSpec&, const VideoStandard& s) { return still(whole(s, lines::multiburst(s))); }},
    {"flat",
     [](const PictureSpec& p, const VideoStandard& s) {
       check_percent(p.level_percent, "flat field");
       return still(whole(s, lines::flat(s, p.level_percent, "flat")));
     }},
    {"window",
     [](const PictureSpec& p, const VideoStandard& s) {
       check_percent(p.level_percent, "window");
       return still(middle(s, 0.25, 0.75, lines::flat(s, 0, "window"), lines::window(s, p.level_percent)));
     }},
    {"bounce", make_bounce},
    {"crosshatch", [](const PictureSpec&, const VideoStandard& s) { return still(crosshatch(s)); }},
    {"field-square",
     [](const PictureSpec&, const VideoStandard& s) {
       return still(
           middle(s, 0.25, 0.75, lines::flat(s, 0, "field-square"), lines::flat(s, 100, "field-square")));
     }},
    {"red", [](const PictureSpec&, const VideoStandard& s) { return still(whole(s, lines::red(s))); }},
    {"bands", [](const PictureSpec&, const VideoStandard& s) { return still(all_bands(s)); }},
    {"sync",
     [](const PictureSpec&, const VideoStandard& s) {
       TestPicture t = still(whole(s, lines::nothing()));
       t.sync_only = true;
       return t;
     }},
}};

}  // namespace

const TestLine& TestPicture::line_at(std::int64_t frame, int row) const {
  for (const TestBand& b : is_alternate(frame) ? alternate : bands) {
    if (row >= b.first_row && row <= b.last_row) return b.line;
  }
  throw std::out_of_range("TestPicture::line_at: no such row");
}

std::vector<std::string_view> picture_names() {
  std::vector<std::string_view> names;
  names.reserve(pictures.size());
  for (const Named& p : pictures) names.push_back(p.name);
  return names;
}

TestPicture describe(const PictureSpec& spec, const VideoStandard& standard) {
  for (const Named& p : pictures) {
    if (p.name != spec.picture) continue;
    TestPicture t = p.make(spec, standard);
    t.name = spec.picture;
    return t;
  }
  throw bad_usage(fmt::format("no test picture is called '{}'; there are {}", spec.picture,
                              fmt::join(picture_names(), ", ")));
}

}  // namespace linebench::signals
