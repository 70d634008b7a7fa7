// Frames that carry no picture: grabbers go on sending when the signal is gone, a blue or black field or the
// noise of an open input.
#pragma once

#include <cstdint>
#include <linebench/capture/frame_source.hpp>
#include <string>
#include <vector>

namespace linebench::measure {

/// Looks at frames one after another.
class SignalWatch {
 public:
  /// @return why the frame carries no picture; nothing where it does. Snow is told from the frame before, so
  /// never of a single frame.
  [[nodiscard]] std::string look(const capture::Frame& frame, const capture::FrameFormat& format);
  /// Whether the frame last looked at is black all over but for noise: no signal, or a camera in the dark.
  [[nodiscard]] bool black() const { return black_; }
  /// Whether it is well above black, as no frame of a fade to black is next to it.
  [[nodiscard]] bool bright() const { return bright_; }

 private:
  std::vector<std::uint8_t> rows_, before_;  // every eighth row and the next of its field
  bool black_ = false, bright_ = false;
  bool uneven_ = false;  // a frame of more than one code has come
};

/// Hands frames on from a source as long as they carry a picture, and keeps account of those that do not.
/// Black with noise on it, from one frame to the next in the midst of a picture, is a signal that went: it is
/// left out, and counted once the picture is back as suddenly.
class PictureFrames {
 public:
  explicit PictureFrames(capture::FrameSource& source) : source_(source) {}
  /// The next frame with a picture. @return false at the end.
  bool next(capture::Frame& frame);
  /// Frames left out just before the one handed out last.
  [[nodiscard]] std::uint64_t skipped() const { return skipped_; }
  /// All frames read, with a picture or without.
  [[nodiscard]] std::uint64_t read() const { return read_; }
  [[nodiscard]] std::uint64_t without() const { return without_; }
  /// Without a picture before the first that has one: a grabber needs a moment to lock.
  [[nodiscard]] std::uint64_t at_start() const { return at_start_; }
  /// Number of the first without one after there was one.
  [[nodiscard]] std::uint64_t first_lost() const { return first_lost_; }
  /// Why: of the first lost after there was one, else of the first at all.
  [[nodiscard]] const std::string& why() const { return why_; }

 private:
  bool read_one(capture::Frame& frame, std::string& why);
  bool sudden_black(const std::string& why);
  void count_lost(std::uint64_t number, std::uint64_t frames, const std::string& why);

  capture::FrameSource& source_;
  SignalWatch watch_;
  capture::Frame held_;  // the first frame waits for the second, which tells snow
  std::string held_why_;
  bool holding_ = false, started_ = false;
  std::uint64_t skipped_ = 0, read_ = 0, without_ = 0, at_start_ = 0, with_ = 0, first_lost_ = 0;
  std::uint64_t black_run_ = 0, black_from_ = 0;
  bool was_bright_ = false;
  std::string why_;
};

}  // namespace linebench::measure
