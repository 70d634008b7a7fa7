// Pictures of a composite signal: line waveform, lines overlaid, chrominance vectors, spectrum.
#pragma once

#include <linebench/measure/video_traces.hpp>
#include <linebench/report/document.hpp>
#include <linebench/signals/drawing.hpp>
#include <string>

namespace linebench::report {

/// All pictures below one another, for a PNG. The standard's levels and, where bars were recognised, the
/// places their colours belong to are marked.
[[nodiscard]] signals::Drawing draw_video(const Document& document, const measure::VideoTraces& traces);

}  // namespace linebench::report
