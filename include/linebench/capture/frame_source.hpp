// Frames of a video grabber from a file: raw YUYV with its sidecar, a movie, or numbered stills.
#pragma once

#include <cstdint>
#include <filesystem>
#include <linebench/base/facts.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::capture {

/// What all frames of a source share.
struct FrameFormat {
  int width = 0;            ///< luma samples a row, even
  int height = 0;           ///< rows of a frame, both fields interleaved
  int lines = 625;          ///< 525 or 625: the scanning system the frames were taken from
  bool lines_known = true;  ///< false: guessed from height and rate
  double frame_rate_hz = 25;
  bool interlaced = true;               ///< two fields in a frame; false: one field, or progressive material
  std::optional<bool> top_field_first;  ///< which field was scanned first, where the source says so
  bool lossy = false;                   ///< compressed with loss, so levels, noise and edges are in doubt
  bool counted = false;                 ///< frame numbers are the device's count, so lost frames show
  bool through_rgb = false;             ///< was RGB on the way: codes below 16 and above 235 lost
};

/// One frame, BT.601 codes in planes, rows from the top. Luma width x height, chroma width/2 x height.
struct Frame {
  std::vector<std::uint8_t> y, cb, cr;
  std::uint64_t number = 0;  ///< in the device's count: a gap to the frame before is frames lost
  bool corrupt = false;      ///< the driver marked the buffer as damaged
};

/// A stream of frames.
class FrameSource {
 public:
  FrameSource() = default;
  FrameSource(const FrameSource&) = delete;
  FrameSource& operator=(const FrameSource&) = delete;
  virtual ~FrameSource() = default;

  /// kind "frames"; sample_rate_hz is the frame rate; frames 0 where the length is not known; notes say what
  /// the way here did to the codes.
  [[nodiscard]] virtual const CaptureFacts& facts() const = 0;
  [[nodiscard]] virtual const FrameFormat& format() const = 0;
  /// The next frame into `frame` (its buffers are reused). @return false at the end, and only there.
  /// Throws Error(Unusable) when the source breaks.
  virtual bool read(Frame& frame) = 0;
};

/// Opens by what the file is: `.yuv` with NAME.json beside it ({"width", "height", "format": "yuyv",
/// "standard": "625|525", "field_order": "top|bottom", "frame_rate"}; what this program's captures add, e.g.
/// frames lost, is used); a PNG (with a number in its name: all that follow it); a folder of PNGs; else a
/// movie. Movies of Y'CbCr are taken code by code, those of RGB brought to it; which, the facts say.
/// Throws Error(Unusable), one line, naming the file and what to do.
[[nodiscard]] std::unique_ptr<FrameSource> open_frames(const std::filesystem::path& file);

/// True when the name looks like frames: .yuv, .avi, .mkv, .mov, .mp4, .png and the like, or a folder of
/// PNGs.
[[nodiscard]] bool looks_like_frames(const std::filesystem::path& file);

/// Takes packed Y0 Cb Y1 Cr apart into planes. bytes.size() = 2 width height.
void unpack_yuyv(std::span<const std::uint8_t> bytes, int width, int height, Frame& frame);

}  // namespace linebench::capture
