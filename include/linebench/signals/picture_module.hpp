// What the program asks of the picture module (linebench_opencv.so), which is loaded on first use only:
// OpenCV costs more start-up time than the whole rest of the program may take.
#pragma once

#include <linebench/signals/video_frame.hpp>
#include <memory>
#include <string>

namespace linebench::signals {

/// A movie being written.
class MovieWriter {
 public:
  MovieWriter() = default;
  MovieWriter(const MovieWriter&) = delete;
  MovieWriter& operator=(const MovieWriter&) = delete;
  virtual ~MovieWriter() = default;
  virtual void write(const YuyvFrame& frame) = 0;
};

/// All functions throw std::exception with a reason when it does not work.
class PictureModule {
 public:
  PictureModule() = default;
  PictureModule(const PictureModule&) = delete;
  PictureModule& operator=(const PictureModule&) = delete;
  virtual ~PictureModule() = default;
  /// Lossless still, full range RGB.
  virtual void write_png(const std::string& path, const YuyvFrame& frame) = 0;
  /// Lossless AVI (FFV1, full range RGB).
  virtual std::unique_ptr<MovieWriter> open_avi(const std::string& path, int width, int height,
                                                double frame_rate_hz) = 0;
  /// Shows a frame for about `wait_ms`. @return false once the person closed the window or pressed Esc or q
  virtual bool show(const std::string& title, const YuyvFrame& frame, int wait_ms) = 0;
};

/// The one function the module exports, with C linkage.
inline constexpr const char* picture_module_factory_name = "linebench_make_picture_module";
using PictureModuleFactory = PictureModule* (*)();

}  // namespace linebench::signals
