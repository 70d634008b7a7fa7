// What the bench would read on a simulated installation: the captures of one job with uncertainties and
// bounds, made straight from the wires' truth so that thousands of cases run in seconds.
#pragma once

#include <linebench/diagnose/evidence.hpp>
#include <linebench/faultsim/installation.hpp>
#include <vector>

namespace linebench::faultsim {

/// Two lines with a test tone, the programme feed, the path's response, the waveform (colour bars) and the
/// picture.
[[nodiscard]] std::vector<diagnose::Capture> read_all(const Installation& site, Dice& dice);

/// What a person reports of a trial, as typed; where no fault touches it, as on a sound installation. One
/// person in a hundred errs on trials of words.
[[nodiscard]] std::string answer(const Installation& site, const diagnose::Sign& trial, Dice& dice);

}  // namespace linebench::faultsim
