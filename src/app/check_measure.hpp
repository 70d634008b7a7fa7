// From a guided job's wish for a capture to the measured, judged record of it.
#pragma once

#include <filesystem>
#include <linebench/check/soak.hpp>
#include <linebench/check/step.hpp>

#include "commands.hpp"

namespace linebench::app {

/// Measures and judges a file for this wish: sound, composite samples, frames, or a document of readings
/// (measure --json). The file's hash is taken. Throws as the readers and measurements do.
[[nodiscard]] job::Capture measure_for(const check::CaptureWish& wish, const std::filesystem::path& file,
                                       const Context& context);

/// How a long run is looked at, and the record of one that was not kept as a file.
[[nodiscard]] check::SoakOptions soak_options(const check::CaptureWish& wish);
/// @param view "audio" or "picture".
[[nodiscard]] job::Capture soaked(const check::CaptureWish& wish, const char* view, const CaptureFacts& facts,
                                  Readings readings);

}  // namespace linebench::app
