// From a guided job's wish for a capture to the measured, judged record of it.
#pragma once

#include <filesystem>
#include <linebench/check/step.hpp>

#include "commands.hpp"

namespace linebench::app {

/// Measures and judges a file for this wish: sound, composite samples, frames, or a document of readings
/// (measure --json). The file's hash is taken. Throws as the readers and measurements do.
[[nodiscard]] job::Capture measure_for(const check::CaptureWish& wish, const std::filesystem::path& file,
                                       const Context& context);

}  // namespace linebench::app
