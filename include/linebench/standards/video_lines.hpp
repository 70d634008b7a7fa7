// What stands on each line of a frame: pulses on its two halves, burst or none, V switch, picture or
// blanking.
//
// Line numbers are the standards': 525 counts from the first equalising pulse before field 1's broad pulses
// [170M], 625 from field 1's first broad pulse [BT.470].
#pragma once

#include <linebench/standards/video.hpp>
#include <optional>

namespace linebench::standards {

/// The pulse that begins at 0H or at the middle of a line.
enum class LinePulse { None, LineSync, Equalising, Broad };

struct LineStructure {
  int line = 0;          ///< 1..525 or 1..625
  int colour_field = 0;  ///< 1..4 or 1..8: the field that 0H of this line belongs to
  LinePulse at_start = LinePulse::LineSync;
  LinePulse at_middle = LinePulse::None;
  bool burst = true;
  int v_sign = +1;                   ///< 625: -1 on lines with V inverted (burst at 225 deg); 525: always +1
  bool picture_first_half = false;   ///< active picture before the middle of the line
  bool picture_second_half = false;  ///< and after it
  int picture_row = -1;              ///< row of the interleaved frame, 0 at the top; -1 in field blanking

  [[nodiscard]] bool has_picture() const { return picture_first_half || picture_second_half; }
};

/// Structure of a line. @param frame frames since colour field 1 began, any whole number >= 0 (only its place
/// in the sequence of 2 or 4 frames counts). @param line 1..lines per frame; std::out_of_range otherwise.
[[nodiscard]] LineStructure line_structure_in_frame(const VideoStandard& standard, std::int64_t frame,
                                                    int line);

/// The same, asked by colour field (1..4 or 1..8). std::out_of_range when the line does not start in that
/// field.
[[nodiscard]] LineStructure line_structure(const VideoStandard& standard, int colour_field, int line);

/// Frame line (1..) that carries a row of the interleaved picture, 0 <= row < active_rows; and whether it is
/// a line of the first field. 625: row 0 is line 23 (field 1, the half line); 525: row 0 is line 283 (field
/// 2, the half line).
[[nodiscard]] int line_of_row(const VideoStandard& standard, int row);
/// The reverse; nullopt for a line in field blanking.
[[nodiscard]] std::optional<int> row_of_line(const VideoStandard& standard, int line);

/// Subcarrier phase of the +U axis, in turns [0, 1), at 0H of the given line with SC-H = 0, exact by whole
/// numbers. Chrominance is U sin(phase) + v_sign V cos(phase). Phase 0 at line 1 of colour field 1.
/// @param line_count lines since 0H of line 1 of colour field 1, >= 0.
[[nodiscard]] double subcarrier_turns_at_line(const VideoStandard& standard, std::int64_t line_count);

}  // namespace linebench::standards
