// Whether what makes the pattern of mains hum may be notes of the programme that plays.
#pragma once

#include <linebench/measure/hum.hpp>
#include <linebench/measure/levels.hpp>

namespace linebench::measure {

/// Public mains keeps its frequency within 1 % [EN 50160] and does not move by more than a tenth of a hertz
/// while a capture runs; hum stands as long as the programme plays, at one level. Where programme plays and
/// what was found does not hold to that, it is not called hum: `found` is taken back, `doubt` says why and
/// `least_power` holds what was there.
/// @param programme something that is neither noise nor a steady tone plays in this channel
/// @param mains_known the mains frequency was given, and what was found lies near it
void doubt_notes(HumResult& hum, const LevelResult& level, bool programme, bool mains_known);

/// The same under the test of speech transmission, whose noise fills the octaves from 125 Hz up [IEC
/// 60268-16] and dies away several times a second: what shows there only, at multiples of the mains, may be
/// that noise itself. Below it is nothing, so a fundamental that is seen is hum.
void doubt_under_stipa(HumResult& hum);

}  // namespace linebench::measure
