// Live readings of a grabber's frames: the same measurement as a capture's, over short runs of frames.
#pragma once

#include <cstdint>
#include <linebench/base/reading.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/picture.hpp>
#include <memory>
#include <string>
#include <vector>

namespace linebench::live {

/// A frame made small for looking at, with the means of its rows.
struct Thumbnail {
  int width = 0, height = 0;
  std::vector<std::uint8_t> rgb;  ///< packed R, G, B; full range [BT.601 decoding]
  std::vector<double> row_mean;   ///< luma code of each shown row, all of its columns
};

/// What a stream of frames shows at a moment.
struct PictureView {
  double time_s = 0;  ///< of the stream, lost frames counted
  Readings readings;  ///< picture.* of the newest whole run of frames
  Thumbnail thumbnail;
};

/// Frames in a run: 0.48 s of 25 a second, so that a change is read, from frames after it only, within a
/// second.
inline constexpr std::size_t run_frames = 12;

/// Streaming, constant memory (one run of frames). The thumbnail follows every fifth frame, readings every
/// run.
class PictureMeter {
 public:
  PictureMeter(const capture::FrameFormat& format, const measure::PictureOptions& options);
  ~PictureMeter();
  PictureMeter(PictureMeter&&) noexcept;
  PictureMeter& operator=(PictureMeter&&) noexcept;

  /// Takes the frame's contents over; its buffers come back for the next. @return true when there is a newer
  /// view. Throws Error(Unusable) where a frame's size is not the format's.
  bool push(capture::Frame& frame);
  [[nodiscard]] const PictureView& view() const;
  /// What comes next does not go on from what came: no run reaches over that.
  void gap();
  /// What the driver says of the wire: "none" or "no lock" are then the reading of picture.signal, whatever
  /// the frames show, since many grabbers go on sending. Empty: it does not say.
  void wire(std::string signal);

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// Means of blocks of pixels; `most` columns and rows at the most.
[[nodiscard]] Thumbnail make_thumbnail(const capture::Frame& frame, const capture::FrameFormat& format,
                                       int most);

}  // namespace linebench::live
