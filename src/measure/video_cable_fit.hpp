// A cable's loss from the tails it leaves behind edges, and taking it back.
#pragma once

#include <vector>

#include "video_echo_fit.hpp"

namespace linebench::measure {

/// dB at 5 MHz that, taken back, leaves the lines flattest where the sent signal stands still (least squares,
/// slope and levels free). @param others the same lines with other noise, so that noise does not draw the fit
/// towards less of it; may be `lines` itself. @param echoes are taken out as well. NaN when there is nothing
/// to see it by.
[[nodiscard]] double cable_loss_db(const std::vector<EchoLine>& lines, const std::vector<EchoLine>& others,
                                   double step_us, const std::vector<Echo>& echoes);

/// The lines with so much loss taken back, softened above 1.8 MHz; what edges reach into is no longer used.
[[nodiscard]] std::vector<EchoLine> without_loss(std::vector<EchoLine> lines, double step_us, double loss_db);

}  // namespace linebench::measure
