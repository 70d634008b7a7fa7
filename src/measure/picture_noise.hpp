// Noise from the difference of frames, repeated and lost frames, codes at the ends of the range.
#pragma once

#include <array>
#include <cstdint>
#include <linebench/base/reading.hpp>
#include <optional>
#include <string>

#include "picture_level_noise.hpp"
#include "picture_sway.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class PictureNoiseMeter final : public FrameMeter {
 public:
  explicit PictureNoiseMeter(const PictureSetup& setup);
  void push(const PictureView& view) override;
  /// How far lines are moved sideways, px: 0 where not known.
  struct Sideways {
    double jitter = 0;  ///< rms
    double tear = 0;
  };
  void finish(bool rolling, const Sideways& lines, Readings& out);
  /// After finish(), where a steady tone was found: writes the noise without it instead.
  /// @param variance of level parts beside the tone, codes^2, rounding's share in it. @param u of it, k = 2
  /// @param at_most it wanders, so some of it may be left in the variance
  void finish_beside_tone(double variance, double u, bool at_most, Readings& out);
  /// Rms of one frame, codes, rounding's share taken out; 0 when not known.
  [[nodiscard]] double noise() const { return noise_; }
  /// Of white noise that would move edges as much as what is there.
  [[nodiscard]] double noise_at_edges() const { return noise_at_edges_.value_or(noise_); }

  /// The camera moves up and down, so that all of a picture changes by its own detail.
  [[nodiscard]] bool sways() const { return sways_; }

  /// Of 32 px of a row: sum and sum of squares of the difference of two frames.
  struct BlockSums {
    int sum, squares;
  };

 private:
  PictureNoiseMeter(const PictureSetup& setup, LevelParts parts);
  void look_at_detail(std::span<const float> variance, std::size_t first_block, std::size_t group);
  void compare_means(std::span<const BlockSums> row, std::span<const float> variance,
                     const std::uint8_t* level);
  // How the variance of one frame became known.
  struct Told {
    double variance = 0, u_variance = 0;
    double u = 0;  // besides, share of the noise
    std::string how{};
  };
  void finish_by_blocks(double jitter_px, Readings& out);
  void finish_by_level_parts(Readings& out);
  [[nodiscard]] std::string edges_come_in(const Sideways& lines) const;
  void refuse(const std::string& why, std::optional<double> most, Readings& out);
  void tell(const Told& told, Readings& out);
  void clipped(Readings& out) const;
  void repeated_and_lost(Readings& out) const;
  void shared(std::string why_not, Readings& out) const;

  const PictureSetup& setup_;
  int clear_px_ = 0;  // from edges to the level parts
  LevelNoiseMeter grey_, coloured_;
  SwayFit sway_;
  std::optional<double> noise_at_edges_;
  static constexpr std::size_t groups = 16;
  std::array<double, groups> sum_{};
  std::array<std::uint64_t, groups> count_{};
  std::vector<float> variance_, whole_;  // scratch: blocks of one frame, without and with their means
  std::vector<std::uint8_t> level_;      // blocks of all rows: 1 where they hold little detail
  std::size_t level_blocks_ = 0;
  bool sways_ = false;
  bool held_ = false;         // all of the picture stands where codes end
  double slope_square_ = 0;   // of those, variance of luma's slope within a block, (codes/px)^2
  double by_quantiles_ = 0;   // sum over the frames of sum_, of what noise alone would give
  std::uint64_t blocks_ = 0;  // that went into sum_
  double most_ = 0;           // variance that all of the change would be
  double noise_ = 0;
  float limit_ = 0;  // blocks that vary more are not level parts that stand still
  double mean_sum_ = 0;
  std::uint64_t mean_count_ = 0;
  std::uint64_t frames_ = 0, equal_ = 0, longest_ = 0, run_ = 0, lost_ = 0, corrupt_ = 0, gaps_ = 0;
  std::uint64_t last_number_ = 0;
  std::uint64_t pixels_ = 0, at_ends_ = 0, moving_ = 0, looked_ = 0, nowhere_still_ = 0;
};

}  // namespace linebench::measure
