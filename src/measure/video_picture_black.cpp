// video.setup and video.front_porch, where what is on the lines says more than their levels and edges do.
#include "video_picture.hpp"

namespace linebench::measure {
namespace {

// Staircases, ramps, pulses and bursts are defined from blanking, whatever setup a system has, and end where
// their definition says, not where the picture does.
bool is_test_line(const KnownLine& k) {
  const LineLayout& l = k.layout;
  if (k.bars || l.pulses.size() >= 8) return false;  // colour bars and crosshatch fill a picture
  return k.staircase || k.ramp || !l.packets.empty() || !l.modulated.empty() || !l.pulses.empty();
}

// Most of the recognised lines.
bool test_lines_only(const KnownLines& known) {
  double test = 0;
  double all = 0;
  for (const KnownLine& k : known.all()) {
    if (k.content->field_interval) continue;
    all += k.content->lines;
    if (is_test_line(k)) test += k.content->lines;
  }
  return test > 0.9 * all;
}

void replace(Readings& out, Reading fresh) {
  for (Reading& r : out) {
    if (r.id == fresh.id) r = std::move(fresh);
  }
}

}  // namespace

void read_black(const KnownLines& known, const VideoSetup& setup, Readings& out) {
  if (setup.lines != 525) return;
  const Reading* bars = find_reading(out, "video.bars.black.luma");
  if (bars != nullptr && bars->measured()) {
    replace(out,
            number_reading("video.setup", bars->number(), bars->uncertainty, "black of the colour bars"));
    return;
  }
  const Reading* got = find_reading(out, "video.setup");
  // A generator that does put them on setup shows it.
  if (got == nullptr || !got->measured() || got->number() > 20 * setup.gain()) return;
  if (test_lines_only(known)) {
    replace(out, unmeasurable("video.setup",
                              "the test lines in the picture stand on blanking by definition, with setup or "
                              "without; send colour bars or a black field"));
  }
}

void read_early_end(const KnownLines& known, Readings& out) {
  if (!test_lines_only(known)) return;
  replace(out, unmeasurable("video.front_porch",
                            "the test lines in the picture end before the picture does; send one that is "
                            "bright up to its right edge, e.g. a white field"));
}

}  // namespace linebench::measure
