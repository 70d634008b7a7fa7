// Whether what looks like a test tone is a line of something that disturbs the path.
#pragma once

#include <linebench/measure/interference.hpp>
#include <linebench/measure/spectrum.hpp>
#include <linebench/measure/tone.hpp>
#include <linebench/measure/tone_track.hpp>
#include <string>

namespace linebench::measure {

/// What the line belongs to, for the reason of a reading; empty when it is a tone.
[[nodiscard]] std::string disturbing_line(const ToneResult& tone, const ToneRun& run,
                                          const SpectrumShape& shape, const InterferenceResult& disturbed);

}  // namespace linebench::measure
