// Test pictures as BT.601 frames, 720 samples wide, Y'CbCr 4:2:2, 8 bit: for a media player or a screen.
#pragma once

#include <cstdint>
#include <linebench/signals/video_picture.hpp>
#include <linebench/standards/video.hpp>
#include <vector>

namespace linebench::signals {

/// A frame, both fields interleaved, packed as Y0 Cb Y1 Cr (two bytes a sample). Luma 16 = black, 235 =
/// white.
struct YuyvFrame {
  int width = 720;
  int height = 0;
  bool top_field_first = true;  ///< 625: row 0 belongs to the field scanned first; 525: to the second
  std::vector<std::uint8_t> bytes;

  struct Pixel {
    int y, cb, cr;
  };
  /// Codes at a place (Cb and Cr of the sample pair it belongs to).
  [[nodiscard]] Pixel at(int column, int row) const;
};

/// Frame `number` (0 = first) of a picture described for a system without setup: a player or a grabber adds
/// and takes off setup by itself, and codes know none. Levels and colours as codes, edges and pulses
/// band-limited to 5.75 MHz (luma) and 2.75 MHz (chroma); pictures reach to both ends of the digital line.
/// @param height 576 for 625; 486 or 480 for 525 (480: rows 4 to 483). Throws Error(Usage) for another
/// height, and for a system with setup.
[[nodiscard]] YuyvFrame make_frame(const TestPicture& picture, const standards::VideoStandard& standard,
                                   std::int64_t number, int height);

/// The frames of a picture one after another; what is alike is made once.
class PictureFrames {
 public:
  /// Errors as make_frame.
  PictureFrames(TestPicture picture, const standards::VideoStandard& standard, int height);
  /// Frame `number`, 0 = first. Valid until the object goes.
  [[nodiscard]] const YuyvFrame& at(std::int64_t number);
  [[nodiscard]] const standards::VideoStandard& standard() const { return *standard_; }

 private:
  TestPicture picture_;
  const standards::VideoStandard* standard_;
  int height_;
  YuyvFrame frames_[2];  // the picture, and its alternate where it has one
};

/// System to describe a picture in for frames: 525 -> without setup; others as they are.
[[nodiscard]] const standards::VideoStandard& frame_standard(const standards::VideoStandard& standard);

}  // namespace linebench::signals
