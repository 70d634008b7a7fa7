#include "video_count.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/video.hpp>
#include <vector>

namespace linebench::measure {
namespace {

// Number of the line in which the first broad pulse of a field stands, at its start (field 1) or middle
// (field 2) [170M, BT.470].
constexpr int start_number(int lines, bool at_middle) {
  if (lines == 525) return at_middle ? 266 : 4;
  return at_middle ? 313 : 1;
}

enum class Start : std::uint8_t { No, AtStart, AtMiddle };

// Two broad pulses in a row are asked for, so that a dropout is not taken for a field sync.
Start field_start(bool before_broad, const LineMark& m, const LineMark& next) {
  if (before_broad) return Start::No;
  if (m.broad_first && m.broad_second) return Start::AtStart;
  if (!m.broad_first && m.broad_second && next.broad_first) return Start::AtMiddle;
  return Start::No;
}

int wrapped(std::int64_t number, int wrap) {
  const std::int64_t r = (number - 1) % wrap;
  return static_cast<int>(r < 0 ? r + wrap : r) + 1;
}

}  // namespace

FieldStructure find_fields(std::span<const LineMark> marks, double line_hz, int force_lines) {
  FieldStructure f;
  struct Found {
    std::int64_t index;
    bool middle;
  };
  std::vector<Found> found;
  for (std::size_t i = 1; i + 1 < marks.size(); ++i) {
    const Start s = field_start(marks[i - 1].broad_second, marks[i], marks[i + 1]);
    if (s != Start::No) found.push_back({static_cast<std::int64_t>(marks[i].index), s == Start::AtMiddle});
  }
  // Half lines from one field sync to the next; multiples (a missed field sync) are left out.
  std::vector<int> halves;
  int changes = 0;
  for (std::size_t i = 0; i + 1 < found.size(); ++i) {
    const auto d = static_cast<int>(2 * (found[i + 1].index - found[i].index)) +
                   (found[i + 1].middle ? 1 : 0) - (found[i].middle ? 1 : 0);
    if (d < 400 || d > 760) continue;
    halves.push_back(d);
    changes += found[i].middle != found[i + 1].middle ? 1 : 0;
  }
  const double rate_525 = standards::video_525.line_rate_hz.value();
  const double rate_625 = standards::video_625.line_rate_hz.value();
  f.lines = std::abs(line_hz - rate_525) < std::abs(line_hz - rate_625) ? 525 : 625;
  f.seen = !found.empty();
  if (!halves.empty()) {
    const int typical = dsp::median(halves);
    f.counted = true;
    f.interlaced = 2 * changes > static_cast<int>(halves.size());
    f.lines_per_frame = f.interlaced ? typical : typical / 2;
    f.lines = std::abs(typical - 525) < std::abs(typical - 625) ? 525 : 625;
  }
  if (force_lines > 0) f.lines = force_lines;
  if (!f.counted) f.interlaced = true;  // for numbering only; nothing is reported from it
  if (f.seen) {
    const int wrap = f.lines_per_frame > 0 ? f.lines_per_frame : f.lines;
    const std::int64_t before = found.front().index - static_cast<std::int64_t>(marks.front().index);
    f.first_number = wrapped(start_number(f.lines, found.front().middle) - before, wrap);
  }
  return f;
}

LineCounter::Number LineCounter::step(const LineMark& mark, const LineMark& next) {
  if (!on_) return {};
  const std::int64_t by = started_ ? static_cast<std::int64_t>(mark.index - last_index_) : 1;
  const int before = number_;
  number_ = wrapped(number_ + by, wrap_);
  if (started_ && number_ < before) ++frame_;
  const Start s = field_start(before_broad_, mark, next);
  if (s != Start::No) {
    const int should = wrapped(start_number(lines_, s == Start::AtMiddle), wrap_);
    if (should == number_) {
      wrong_ = 0;
    } else if (++wrong_ >= 2) {  // once may be a fault on the way; twice, the count is wrong
      number_ = should;
      wrong_ = 0;
    }
  }
  before_broad_ = mark.broad_second;
  last_index_ = mark.index;
  started_ = true;
  return {number_, number_ <= (lines_ + 1) / 2 ? 1 : 2, frame_};
}

}  // namespace linebench::measure
