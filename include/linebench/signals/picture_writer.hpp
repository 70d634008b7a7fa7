// Stills, movies and a window for test pictures, by the picture module.
#pragma once

#include <filesystem>
#include <functional>
#include <linebench/base/progress.hpp>
#include <linebench/signals/drawing.hpp>
#include <linebench/signals/video_frame.hpp>
#include <optional>
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

struct ScreenOptions {
  double border = 0.03;                  ///< see PictureModule::show; 0 to 0.1
  std::optional<std::int64_t> frames{};  ///< how many; none: until a key is pressed
};

/// Shows frames on the whole screen until any key is pressed, the window is closed or `stop` is set.
/// @return how many were shown.
/// Throws Error(Unusable) where there is no screen, with what to do instead; Error(Usage) for another border.
std::int64_t show_frames(const std::string& title, const FrameSource& source, double frame_rate_hz,
                         const ScreenOptions& options, const StopFlag* stop);

}  // namespace linebench::signals
