// Stills, movies and a window for test pictures, by the picture module.
#pragma once

#include <filesystem>
#include <functional>
#include <linebench/base/progress.hpp>
#include <linebench/signals/drawing.hpp>
#include <linebench/signals/video_frame.hpp>
#include <string>

namespace linebench::signals {

/// Frame n of what is to be written or shown.
using FrameSource = std::function<YuyvFrame(std::int64_t number)>;

/// Writes a PNG. Throws Error(Unusable), one line, when the module is missing or the file cannot be written.
void write_png(const std::filesystem::path& file, const YuyvFrame& frame);

/// Writes a drawing as PNG. Errors as write_png.
void write_drawing(const std::filesystem::path& file, const Drawing& drawing);

/// Writes a lossless AVI of `frames` frames. Stops early, the file whole, when `stop` is set; returns frames
/// written.
std::int64_t write_avi(const std::filesystem::path& file, const FrameSource& source, std::int64_t frames,
                       double frame_rate_hz, const Progress& progress = {}, const StopFlag* stop = nullptr);

/// Shows frames in a window until it is closed, Esc or q is pressed, or `stop` is set.
/// Throws Error(Unusable) where there is no screen.
void show_frames(const std::string& title, const FrameSource& source, double frame_rate_hz,
                 const StopFlag* stop);

}  // namespace linebench::signals
