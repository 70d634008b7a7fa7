// Where in time and frequency the parts of a signal lie, for its generator and for whoever measures it. Times
// are from the start of the body (silence before it not counted).
#pragma once

#include <linebench/signals/audio_signal.hpp>
#include <vector>

#include "generator.hpp"

namespace linebench::signals {

[[nodiscard]] std::vector<ToneStep> plan_tone_steps(const Recipe& recipe, const GeneratorOptions& options);
[[nodiscard]] TimeSpan plan_quiet_span(const Recipe& recipe, const GeneratorOptions& options);
[[nodiscard]] Sweep plan_sweep(const Recipe& recipe, const GeneratorOptions& options);
[[nodiscard]] std::vector<double> plan_tones(const Recipe& recipe);

}  // namespace linebench::signals
