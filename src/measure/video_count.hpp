// Line numbers from the broad pulses.
#pragma once

#include <cstdint>
#include <span>

#include "video_tracker.hpp"

namespace linebench::measure {

/// What the field syncs in a stretch of lines say.
struct FieldStructure {
  bool seen = false;        ///< at least one field sync
  int lines = 625;          ///< numbering to use
  int lines_per_frame = 0;  ///< counted; 0 when fewer than two field syncs were seen
  bool interlaced = false;
  bool counted = false;  ///< interlace and lines per frame are counted, not assumed
  int first_number = 0;  ///< number of the first line of the stretch
};

/// @param line_hz line rate, decides between 525 and 625 when nothing can be counted.
/// @param force_lines 525 or 625 when the user said so, else 0.
[[nodiscard]] FieldStructure find_fields(std::span<const LineMark> marks, double line_hz, int force_lines);

/// Counts on from line to line and is put right by every field sync.
class LineCounter {
 public:
  LineCounter() = default;
  explicit LineCounter(const FieldStructure& f)
      : lines_(f.lines),
        wrap_(f.lines_per_frame > 0 ? f.lines_per_frame : f.lines),
        number_(f.first_number - 1),
        on_(f.seen) {}
  struct Number {
    int line = 0;
    int field = 0;
    std::uint64_t frame = 0;
  };
  /// Number of `mark`, which follows the one given before; `next` is the line after it.
  Number step(const LineMark& mark, const LineMark& next);

 private:
  int lines_ = 625;
  int wrap_ = 625;
  int number_ = 0;
  bool on_ = false;
  bool before_broad_ = true;
  int wrong_ = 0;
  std::uint64_t last_index_ = 0;
  bool started_ = false;
  std::uint64_t frame_ = 0;
};

}  // namespace linebench::measure
