// Flagging: the bend of the picture's top, from where its rows stand on average.
#pragma once

#include <optional>
#include <vector>

namespace linebench::measure {

/// Where a frame row stands on average.
struct RowPlace {
  double px = 0;        ///< +: right
  double variance = 0;  ///< of px
  bool known = false;
};

struct Bend {
  double px = 0;  ///< of the top against the rows below; 0: none beyond what noise gives
  double u = 0;   ///< k=2
};

/// @param rows of the frame, from the top; fields: how many of them make one line of time
/// @param torn_at first row beside a tear: rows from there on do not tell what is straight
/// @param straight_variance of where the whole picture stands: from frame to frame it may move as one
/// @return nothing where the top's rows are not known.
[[nodiscard]] std::optional<Bend> find_bend(const std::vector<RowPlace>& rows, int fields,
                                            std::optional<int> torn_at, double straight_variance);

}  // namespace linebench::measure
