// A long run of a camera's picture: when it lost its sync or was gone. Memory is constant whatever the
// length.
#pragma once

#include <functional>
#include <linebench/base/reading.hpp>
#include <linebench/capture/frame_source.hpp>
#include <memory>

namespace linebench::check {

struct PictureEvent {
  enum class Kind {
    Gone,        ///< no picture: blue, black or snow
    Back,        ///< a picture again
    Stall,       ///< the grabber sent no frames; seconds
    Jump,        ///< it stood at another height, or could not be made out; seconds
    Roll,        ///< it began to roll; lines a frame
    Tear,        ///< rows stood sideways of their neighbours; px
    ColourGone,  ///< the colour went away
    ColourBack
  } kind = Kind::Gone;
  double at_s = 0;    ///< from the start of the run
  double amount = 0;  ///< as the kind says; 0 where it has none
};

/// Looks for what a camera, its cable or its supply does now and then. The scene must stand still and hold
/// detail; people who walk through it may be told as a jump of a frame. Losses are timed to the frame (Jump,
/// Stall) or to the second (all else), and those less than a second apart are one. A jump is told from 16
/// lines on, so that a camera that is tapped does not count.
class PictureSoak {
 public:
  /// @param told every event, as it is found; may be empty.
  explicit PictureSoak(const capture::FrameFormat& format,
                       std::function<void(const PictureEvent&)> told = {});
  ~PictureSoak();
  PictureSoak(const PictureSoak&) = delete;
  PictureSoak& operator=(const PictureSoak&) = delete;

  /// Takes the frame's contents over; its buffers come back for the next.
  /// @param at_s when it came, from the run's start, s; more than a second after the one before is a stall.
  void push(capture::Frame& frame, double at_s);
  /// picture.signal, picture.signal.lost, picture.sync.loss.count and .times (x: s, y: s long; the first
  /// 500), picture.roll and picture.tear (largest of any second), picture.colour, picture.frames.duplicated.
  /// Throws Error(Unusable) when less than a second was pushed.
  [[nodiscard]] Readings finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::check
