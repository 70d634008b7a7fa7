#include <array>
#include <linebench/standards/video_lines.hpp>
#include <stdexcept>

namespace linebench::standards {
namespace {

// Half lines are counted from 0H of line 1 (half 0); a frame has 2 x lines of them.
struct FieldPlan {
  int equalising_before;  // first half line of each run
  int broad;
  int equalising_after;
  int end;  // first half line after the last equalising pulse
};

// Where the field pulses of the two fields stand [170M, BT.470]. Run lengths come from the standard.
std::array<FieldPlan, 2> field_plans(const VideoStandard& s) {
  const int halves = s.lines_per_frame;  // half lines in one field
  // 525: line 1 begins with equalising; 625: line 1 begins with broad, the equalising run lies before it.
  const int first = s.is_525() ? 0 : -s.equalising_before;
  std::array<FieldPlan, 2> plans{};
  for (int f = 0; f < 2; ++f) {
    FieldPlan& p = plans[static_cast<std::size_t>(f)];
    p.equalising_before = first + f * halves;
    p.broad = p.equalising_before + s.equalising_before;
    p.equalising_after = p.broad + s.broad;
    p.end = p.equalising_after + s.equalising_after;
  }
  return plans;
}

LinePulse pulse_at(const VideoStandard& s, int half) {
  const int frame_halves = 2 * s.lines_per_frame;
  for (const FieldPlan& p : field_plans(s)) {
    for (const int h : {half, half - frame_halves}) {  // a run may begin in the frame before
      if (h < p.equalising_before || h >= p.end) continue;
      return h >= p.broad && h < p.equalising_after ? LinePulse::Broad : LinePulse::Equalising;
    }
  }
  return half % 2 == 0 ? LinePulse::LineSync : LinePulse::None;
}

struct Range {
  int first;
  int last;
  [[nodiscard]] bool has(int line) const { return line >= first && line <= last; }
};

// Burst blanking. 525: no burst after equalising and broad pulses [73.682]. 625: nine lines whose place moves
// with the field, so that every field's first and last burst have the same phase ("Bruch blanking") [BT.470].
bool burst_blanked(const VideoStandard& s, std::int64_t frame, int line) {
  if (s.is_525()) return pulse_at(s, 2 * (line - 1)) != LinePulse::LineSync;
  const bool even = frame % 2 == 0;  // colour fields 1, 2, 5, 6; else 3, 4, 7, 8
  const Range begin{1, even ? 6 : 5};
  const Range middle{even ? 310 : 311, even ? 318 : 319};
  const Range end{even ? 622 : 623, 625};  // runs on into the next frame's first lines
  return begin.has(line) || middle.has(line) || end.has(line);
}

// First picture line of each field; the half lines are the ends [170M, BT.470].
struct PictureLines {
  Range field1;
  Range field2;
  int first_half_only;   // line whose picture stops at its middle
  int second_half_only;  // line whose picture starts at its middle
};
constexpr PictureLines lines_525{{21, 263}, {283, 525}, 263, 283};
constexpr PictureLines lines_625{{23, 310}, {336, 623}, 623, 23};
const PictureLines& picture_lines(const VideoStandard& s) { return s.is_525() ? lines_525 : lines_625; }

// Which rows of the interleaved frame field 1 has: in 525 its lines lie half a line below those of field 2.
int field1_row_offset(const VideoStandard& s) { return s.is_525() ? 1 : 0; }

// The field to which 0H of a line belongs: the second begins in the middle of a line in both systems.
int field_of_line(const VideoStandard& s, int line) { return line <= (s.lines_per_frame + 1) / 2 ? 1 : 2; }

}  // namespace

std::optional<int> row_of_line(const VideoStandard& s, int line) {
  const PictureLines& p = picture_lines(s);
  if (p.field1.has(line)) return 2 * (line - p.field1.first) + field1_row_offset(s);
  if (p.field2.has(line)) return 2 * (line - p.field2.first) + 1 - field1_row_offset(s);
  return std::nullopt;
}

int line_of_row(const VideoStandard& s, int row) {
  if (row < 0 || row >= s.active_rows) throw std::out_of_range("line_of_row: no such row");
  const PictureLines& p = picture_lines(s);
  return (row % 2 == field1_row_offset(s) ? p.field1.first : p.field2.first) + row / 2;
}

LineStructure line_structure_in_frame(const VideoStandard& s, std::int64_t frame, int line) {
  if (line < 1 || line > s.lines_per_frame) throw std::out_of_range("line_structure: no such line");
  if (frame < 0) throw std::out_of_range("line_structure: frames count from 0");
  const std::int64_t in_sequence = frame % (s.colour_fields / 2);
  LineStructure l;
  l.line = line;
  l.colour_field = static_cast<int>(2 * in_sequence) + field_of_line(s, line);
  l.at_start = pulse_at(s, 2 * (line - 1));
  l.at_middle = pulse_at(s, 2 * (line - 1) + 1);
  l.burst = !burst_blanked(s, in_sequence, line);
  // V is positive on odd lines of colour fields 1 and 2; 625 is odd, so the next frame is the other way
  // round.
  if (s.swinging_burst) l.v_sign = (line - 1 + in_sequence) % 2 == 0 ? +1 : -1;
  if (const auto row = row_of_line(s, line)) {
    const PictureLines& p = picture_lines(s);
    l.picture_row = *row;
    l.picture_first_half = line != p.second_half_only;
    l.picture_second_half = line != p.first_half_only;
  }
  return l;
}

LineStructure line_structure(const VideoStandard& s, int colour_field, int line) {
  if (colour_field < 1 || colour_field > s.colour_fields)
    throw std::out_of_range("line_structure: no such field");
  LineStructure l = line_structure_in_frame(s, (colour_field - 1) / 2, line);
  if (l.colour_field != colour_field)
    throw std::out_of_range("line_structure: the line is not in this field");
  return l;
}

double subcarrier_turns_at_line(const VideoStandard& s, std::int64_t line_count) {
  const Rational& r = s.subcarrier_cycles_per_line;
  // Reduce first: the product of both remainders is small, so nothing is lost however long the signal runs.
  const std::int64_t turns = ((line_count % r.den) * (r.num % r.den)) % r.den;
  return static_cast<double>(turns) / static_cast<double>(r.den);
}

}  // namespace linebench::standards
