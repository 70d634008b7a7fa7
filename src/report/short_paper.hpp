// What a customer's paper shows of its captures: of each what was judged, plots of those that decide.
#pragma once

#include <linebench/report/view.hpp>
#include <vector>

namespace linebench::report {

/// Which captures decide, one entry a view: the first of each thing wrong, and the last; where nothing was
/// wrong, the one of which most was judged.
[[nodiscard]] std::vector<bool> deciding(const std::vector<View>& views);

/// Without the readings that nothing was judged by, and what nobody asked for and could not be measured. A
/// capture that was judged by nothing stays whole.
[[nodiscard]] View as_judged(View view);
/// The same, and what was said of another capture already is not said again.
[[nodiscard]] View in_brief(View view);

}  // namespace linebench::report
