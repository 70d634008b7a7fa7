// Noise on the level parts of a test picture. Nothing moves there, so all that changes is noise: within a
// frame, from one frame to the next, and over several.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <linebench/capture/frame_source.hpp>
#include <optional>
#include <span>
#include <vector>

#include "picture_view.hpp"

namespace linebench::measure {

struct LevelNoise {
  double variance = 0;    ///< of one frame, (codes)^2, as whole codes show it
  double u = 0;           ///< of the variance, k=2
  double next_frame = 0;  ///< the same by frames that follow each other; less behind temporal noise reduction
  bool smoothed = false;  ///< it is
  double in_frame = 0;    ///< variance of one frame about the pattern's line, what stands still with it
  double at_edges = 0;    ///< variance of white noise that would move the band's edges as much
};

/// Variances besides, (codes)^2, u with k = 2.
struct SharedNoise {
  std::optional<double> rows;  ///< new in each frame, of whole rows alike; nothing where one part shows it
  double rows_u = 0;
  double stands = 0;  ///< within rows, the same in each frame
  double stands_u = 0;
};

/// Level parts of a test picture.
struct LevelParts {
  struct Columns {
    int from, to;
  };
  std::vector<Columns> grey;      ///< without colour, or all of them where every one has it
  int clear_px = 0;               ///< from edges to the parts, of all but bars
  std::vector<Columns> coloured;  ///< the decoder may leave some of the subcarrier there
};
[[nodiscard]] LevelParts level_parts(const PictureSetup& setup);

class LevelNoiseMeter {
 public:
  LevelNoiseMeter(const PictureSetup& setup, std::vector<LevelParts::Columns> parts);
  [[nodiscard]] bool usable() const { return pixels_ > 0; }
  void push(const capture::Frame& frame);
  [[nodiscard]] bool measured() const { return pairs_ > 0; }
  /// Without what rows share.
  [[nodiscard]] LevelNoise result() const;
  [[nodiscard]] SharedNoise shared() const;

 private:
  static constexpr std::size_t lags = 10;    // px, of the autocovariance
  static constexpr std::size_t groups = 16;  // of frames, for their scatter
  static constexpr std::size_t apart = 10;   // frames that are compared with each other: what is kept of them
  /// Mean squares of some rows.
  struct Sums {
    double rows = 0, steps = 0;
    double within = 0;               // variance about each row's mean
    double of_means = 0;             // variance of the rows' means, from one to the next of a field
    double of_rows = 0;              // of it, what the parts of a row have alike
    double bends = 0, of_bends = 0;  // the same of three rows, which hum's slope is not in
    double left_out = 0;             // pieces of rows that a spike or the like stands in
    std::array<double, lags> lag{};  // autocovariance about each row's mean
    void join(const Sums& other);
    /// Rows that change by whole codes without noise in them are hum's.
    [[nodiscard]] double means() const {
      return steps > 0 ? std::clamp((of_means - of_rows) / steps, 0.0, within / rows) : 0;
    }
    [[nodiscard]] double hang_together(double px) const;
    [[nodiscard]] double variance(double px) const { return within / rows * (px - 1) / px + means(); }
  };
  void compare(const std::vector<std::uint8_t>& a, const std::vector<std::uint8_t>* b, Sums& to);
  [[nodiscard]] double edge_factor(const Sums& s) const;
  [[nodiscard]] double standing(double within, double keeps) const;

  const PictureSetup& setup_;
  std::vector<LevelParts::Columns> parts_;  // all of one width
  std::vector<int> rows_;
  std::vector<std::ptrdiff_t> below_;  // of each row, the next of its field among them, or -1
  std::vector<float> line_;            // the band's, of the parts
  int width_ = 0;
  std::size_t pixels_ = 0;
  std::array<std::vector<std::uint8_t>, apart + 1> kept_;  // the last frames' parts, by index
  float far_ = 0;                 // codes from a part's mean, beyond which a sample is a speck
  std::vector<float> row_means_;  // scratch, as the two that follow
  std::vector<std::array<float, 16>> products_;
  std::vector<float> squares_;
  std::vector<double> whole_;  // sum over the frames
  std::uint64_t frames_ = 0, pairs_ = 0;
  std::array<Sums, groups> next_{};
  Sums inside_, later_;
};

}  // namespace linebench::measure
