// Distortion of a single tone, and its distance from the noise.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/tone.hpp>
#include <string_view>

namespace linebench::measure {

/// audio.thd (harmonics over the fundamental, below the top of the audio band), audio.thd_n (all but the
/// fundamental over all, 20 Hz to 20 kHz [AES17 6.3.1]) and audio.snr (tone over noise without harmonics; hum
/// is noise).
[[nodiscard]] Readings distortion_readings(const ToneResult& tone, const SpectrumShape& shape,
                                           const NoisePower& unweighted, std::string_view suffix);

}  // namespace linebench::measure
