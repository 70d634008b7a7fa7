// What a document says to a person, in the order a person wants it; the terminal table and the page both draw
// this.
#pragma once

#include <linebench/report/document.hpp>
#include <linebench/report/format.hpp>
#include <string>
#include <vector>

namespace linebench::report {

/// The verdict in a word a person sees. Measured: no limit set was applied.
enum class Mark { Pass, Fail, Incomplete, Measured };
[[nodiscard]] std::string_view to_string(Mark mark);  ///< "PASS", "FAIL", "INCOMPLETE", "MEASURED"

struct Cell {
  Shown shown;
  Verdict verdict = Verdict::Info;
  bool present = false;  ///< the channel has this reading
};

/// One reading of all channels, side by side.
struct Row {
  std::string id;  ///< of its first channel
  std::string label;
  std::vector<Cell> cells;  ///< one a channel column, or one when it belongs to the whole
  bool whole = false;       ///< belongs to the capture, not to a channel
  std::string unit, limit, source, remark;
  Verdict verdict = Verdict::Info;  ///< the worst of the cells
};

struct RowGroup {
  std::string title;
  std::vector<Row> rows;
};

/// Something out of limits, worst first.
struct Problem {
  std::string fault;  ///< "hum is too high"
  std::string where;  ///< "left", "right", "left and right", "" for a mono capture
  std::string label;
  std::string reading;  ///< "-41.23 \u00b10.05 dBFS", each channel's
  std::string limit, source, meaning, next, remark;
  double severity = 0;
};

/// What could not be measured, and why; readings with the same reason together.
struct Gap {
  std::string labels;  ///< "Hum (left, right), THD (left)"
  std::string reason;
  bool wanted = false;  ///< leaves the verdict open
};

struct View {
  Mark mark = Mark::Measured;
  std::string headline;  ///< without the mark's word
  std::string next;      ///< what to do about a headline that no problem below it explains; may be empty
  std::vector<std::string>
      channels;  ///< titles of the cell columns: "left", "right"; one empty title for mono
  std::vector<Problem> problems;
  std::vector<RowGroup> groups;
  std::vector<Gap> gaps;
  std::vector<std::string> facts;     ///< short pieces: file, rate, length, device, calibration
  std::vector<std::string> warnings;  ///< whole sentences that put the capture itself in doubt
  std::vector<std::string> notes;     ///< anything else the capture's facts say
  std::string limit_set;
  std::string mains_comb;  ///< hum harmonics in one line, empty when all are shown or there are none
};

/// The headline with the worst problem's reading behind it, for a line in a list of captures.
[[nodiscard]] std::string finding_of(const View& view);

/// @param all every reading in a row of its own; otherwise the hum's harmonics are put in one line.
[[nodiscard]] View make_view(const Document& document, bool all);

}  // namespace linebench::report
