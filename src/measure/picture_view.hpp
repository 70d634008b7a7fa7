// What the picture meters share: what was found out before the pass, and one frame with its block sums.
#pragma once

#include <cmath>
#include <cstdint>
#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/picture.hpp>
#include <span>
#include <string>
#include <vector>

#include "picture_clipping.hpp"

namespace linebench::measure {

inline constexpr int block_px = 8;  ///< luma samples in a block of one row

/// Rows that show the same line; the line is their mean.
struct PictureBand {
  std::vector<int> rows;          ///< frame rows, ascending
  std::vector<double> y, cb, cr;  ///< mean line of the acquired frames
};

enum class PatternKind { None, Bars, Flat, Staircase, Ramp, Multiburst, PulseBar, Window, Crosshatch };

struct Pattern {
  PatternKind kind = PatternKind::None;
  std::string name = "none";  ///< "bars-75", "flat", ...
  std::string remark;
  int bars = 0;            ///< how many stand side by side: 8, or 7 where black is not among them
  double bar_white = 1.0;  ///< of the white bar and of the colours, shares of full
  double bar_colour = 1.0;
  std::size_t band = 0;             ///< where the line stands
  int first_bar = 0, last_bar = 7;  ///< of those that are neither clipped nor crushed
  std::string limits{};             ///< which end is, in words; empty: neither
  double other_share = 1;  ///< of gain and saturation, had bars of the other amplitude been sent; 1: told
};

/// Known before the pass, from the first frames.
struct PictureSetup {
  capture::FrameFormat format;
  double line_s = 0;        ///< line period
  double field_s = 0;       ///< time between the two fields of a frame
  double frame_s = 0;       ///< between frames
  int fields = 2;           ///< in a frame
  double px_per_us = 13.5;  ///< luma samples
  double px_per_us_u = 0;   ///< share of it that is not known
  int first_col = 0;        ///< columns clear of the blanking's edges: first .. last-1, whole blocks
  int last_col = 0;
  double noise = 0;            ///< rms luma noise of one frame, roughly
  double frame_noise = 0;      ///< with what stands still: what rows of a test picture differ by
  bool noisy = false;          ///< frames differ, so repeated ones can be told
  bool still = false;          ///< the picture stands still over the acquired frames
  bool nowhere_still = false;  ///< not even its quietest tenth does
  double apart = 1;            ///< what frames five apart differ by in its quietest tenth, over neighbours
  std::vector<float> mean;     ///< temporal mean of luma, rows x width
  std::size_t mean_of = 0;     ///< frames
  double mean_noise = 0;       ///< rms noise left in it
  std::vector<PictureBand> bands;
  std::vector<int> band_of_row;    ///< -1: none
  std::vector<std::uint8_t> held;  ///< blocks where codes end, see held_blocks(); empty: none
  CodeLimits code_limits;          ///< within what comes at all
  std::vector<bool> bent_row;      ///< shows its band's line, but pulled sideways
  double banded_share = 0;         ///< of rows
  Pattern pattern;

  [[nodiscard]] int width() const { return format.width; }
  [[nodiscard]] int height() const { return format.height; }
  [[nodiscard]] int blocks() const { return format.width / block_px; }
  [[nodiscard]] bool patterned() const { return banded_share > 0.5; }
  /// Only of a test picture is it known that its rows are alike, so that what differs came in on the way: a
  /// wall lit from above and a card that leans are banded too, with shading and slanting edges of their own.
  [[nodiscard]] bool rows_alike() const { return patterned() && pattern.kind != PatternKind::None; }
  /// Whether the block of a row stands where codes end.
  [[nodiscard]] bool held_at(int row, int block) const {
    return !held.empty() && held[static_cast<std::size_t>(row * blocks() + block)] != 0;
  }
  /// The pattern's rows where its columns stand where they should: the top may be bent sideways, the bottom
  /// torn.
  [[nodiscard]] std::vector<int> straight_rows() const {
    std::vector<int> rows;
    for (const int r : bands[pattern.band].rows)
      if (r >= height() / 10 && r < height() - 4 && !bent_row[static_cast<std::size_t>(r)]) rows.push_back(r);
    return rows;
  }
  /// Field (0: rows 0, 2, ..) and row in it.
  [[nodiscard]] int field_of(int row) const { return fields == 2 ? row % 2 : 0; }
  [[nodiscard]] int row_in_field(int row) const { return fields == 2 ? row / 2 : row; }
  /// When a row of a frame was scanned, from the frame's start.
  [[nodiscard]] double row_time(int row) const {
    const bool top_first = format.top_field_first.value_or(format.lines == 625);
    const bool second = fields == 2 && (field_of(row) == 0) != top_first;
    return (second ? field_s : 0.0) + row_in_field(row) * line_s;
  }
};

/// One frame of the pass. The view and what it points to live only during the call.
struct PictureView {
  const PictureSetup* setup = nullptr;
  const capture::Frame* frame = nullptr;
  const capture::Frame* previous = nullptr;   ///< nullptr for the first
  std::uint64_t index = 0;                    ///< frames handed out before
  double time_s = 0;                          ///< from the first, lost frames counted
  bool repeated = false;                      ///< the previous one once more, bit by bit, where frames differ
  std::uint64_t skipped = 0;                  ///< frames before it that carry no picture and were left out
  std::span<const std::uint16_t> block_sums;  ///< rows x blocks: luma sums

  [[nodiscard]] const std::uint8_t* row(int r) const {
    return frame->y.data() + static_cast<std::size_t>(r) * static_cast<std::size_t>(setup->width());
  }
};

class FrameMeter {
 public:
  FrameMeter() = default;
  FrameMeter(const FrameMeter&) = delete;
  FrameMeter& operator=(const FrameMeter&) = delete;
  virtual ~FrameMeter() = default;
  virtual void push(const PictureView& view) = 0;
};

/// Rms error that rounding to whole codes leaves in the mean of many samples under noise of this rms, the
/// level anywhere between codes: noise dithers it away. From the sawtooth's Fourier series.
[[nodiscard]] inline double rounding_rms(double noise) {
  double square = 0;
  for (int m = 1; m <= 30; ++m)
    square += std::exp(-4 * 9.8696 * m * m * noise * noise) / (2 * 9.8696 * m * m);
  return std::sqrt(square);
}

/// What noise can be at most by one frame alone: rms difference of luma two pixels apart (where noise of any
/// grabber's bandwidth counts in full) over root 2, in the tenth of the blocks with the least detail.
/// @param held blocks where codes end, which cuts noise off: left out; may be empty.
[[nodiscard]] double quiet_detail(const std::uint8_t* y, int width, int height,
                                  std::span<const std::uint8_t> held);

/// Luma sums of 8 px blocks of a plane; out has rows x (width / 8).
void sum_blocks(const std::uint8_t* y, int width, int height, std::uint16_t* out);

/// Makes the setup from the first frames.
[[nodiscard]] PictureSetup make_picture_setup(std::span<const capture::Frame> frames,
                                              const capture::FrameFormat& format,
                                              const PictureOptions& options);

/// Which test picture the bands are.
[[nodiscard]] Pattern recognise_pattern(const PictureSetup& setup, std::string_view sent);

/// Variance within blocks of 32 px of the difference of two frames, halved: noise of one frame, robust
/// against moved parts. @param share of the blocks that lie below: half of them, or a tenth (0.1).
/// @return rms, or 0 where the frames are equal.
[[nodiscard]] double difference_noise(const capture::Frame& a, const capture::Frame& b, int width, int height,
                                      double share = 0.5);

}  // namespace linebench::measure
