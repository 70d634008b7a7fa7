// What the bench would read on a simulated installation: the captures of one job with uncertainties and
// bounds, made straight from the wires' truth so that thousands of cases run in seconds.
#pragma once

#include <linebench/diagnose/evidence.hpp>
#include <linebench/faultsim/installation.hpp>
#include <vector>

namespace linebench::faultsim {

/// Two lines with a test tone, the programme feed, the path's response, the waveform (colour bars, then a
/// flat field) and the picture, by a calibrated card and a digitiser.
[[nodiscard]] std::vector<diagnose::Capture> read_all(const Installation& site, Dice& dice);

}  // namespace linebench::faultsim
