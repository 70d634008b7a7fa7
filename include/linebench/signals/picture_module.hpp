// What the program asks of the picture module (linebench_opencv.so), which is loaded on first use only:
// OpenCV costs more start-up time than the whole rest of the program may take.
#pragma once

#include <cstdint>
#include <linebench/signals/drawing.hpp>
#include <linebench/signals/video_frame.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

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

/// A picture as it came: packed B, G, R, 8 bit, rows without gaps; or, where `yuyv`, packed Y Cb Y Cr.
struct BgrImage {
  int width = 0;
  int height = 0;
  bool yuyv = false;
  bool damaged = false;  ///< parts of it could not be read and are made up
  std::vector<std::uint8_t> bgr;
};

/// A movie being read.
class MovieReader {
 public:
  struct Info {
    int width = 0;
    int height = 0;
    double frame_rate_hz = 0;  ///< 0: unknown
    std::int64_t frames = 0;   ///< 0: unknown
    std::string coder;         ///< its name, or that of the pixel format where `raw`
    bool raw = false;          ///< uncompressed
    bool lossless = false;     ///< keeps every code it is given; raw too
    bool yuyv = false;         ///< holds Y'CbCr, so that frames come as YUYV and no code is cut off
    bool full_range = false;   ///< Y'CbCr that uses all 256 codes, brought to those of BT.601
    bool chroma_420 = false;   ///< one row of chroma for two of luma
    std::optional<bool> top_field_first;  ///< where the file says so
  };
  MovieReader() = default;
  MovieReader(const MovieReader&) = delete;
  MovieReader& operator=(const MovieReader&) = delete;
  virtual ~MovieReader() = default;
  [[nodiscard]] virtual Info info() const = 0;
  /// @return false at the end
  virtual bool read(BgrImage& image) = 0;
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
  /// Lines and words as a still.
  virtual void write_drawing(const std::string& path, const Drawing& drawing) = 0;
  /// Lossless AVI (FFV1, full range RGB).
  virtual std::unique_ptr<MovieWriter> open_avi(const std::string& path, int width, int height,
                                                double frame_rate_hz) = 0;
  /// @return false when it is no picture
  virtual bool read_still(const std::string& path, BgrImage& image) = 0;
  /// A coded still in memory (JPEG, PNG). @return false when it is no picture
  virtual bool decode_still(const std::uint8_t* bytes, std::size_t count, BgrImage& image) = 0;
  /// A BGR picture as the bytes of a PNG file.
  virtual std::vector<std::uint8_t> encode_png(const BgrImage& image) = 0;
  /// What is stored as Y'CbCr comes as YUYV, code by code; what is stored as RGB as BGR.
  virtual std::unique_ptr<MovieReader> read_movie(const std::string& path) = 0;
  /// Opens and closes a window. Where the window system cannot be reached its library may end the process.
  virtual void try_screen() = 0;
  /// Shows a frame on the whole screen for about `wait_ms`, opening the window at first.
  /// @param border share of width and height on each side that a screen may cut off: the picture stands
  /// within it, its edges carried on outwards.
  /// @return false once a key was pressed or the window was closed
  virtual bool show(const std::string& title, const YuyvFrame& frame, double border, int wait_ms) = 0;
  /// Closes the window of show().
  virtual void hide() = 0;
};

/// The one function the module exports, with C linkage.
inline constexpr const char* picture_module_factory_name = "linebench_make_picture_module";
using PictureModuleFactory = PictureModule* (*)();

/// The module, loaded on first use. Throws Error(Unusable) when it is missing.
[[nodiscard]] PictureModule& picture_module();

/// Words what the module throws as this program does: Error(Unusable) "what: why".
[[noreturn]] void rethrow_worded(const std::string& what);

/// Does work with the module; its failures come out as Error(Unusable) beginning with `what`.
template <typename Do>
auto with_picture_module(const std::string& what, Do&& work) {
  PictureModule& m = picture_module();
  try {
    return work(m);
  } catch (...) {
    rethrow_worded(what);
  }
}

}  // namespace linebench::signals
