// Level, peak, crest factor and dc of one channel, and how its level goes over time.
#pragma once

#include <cstddef>
#include <limits>
#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace linebench::measure {

/// Sums over a stretch of samples.
struct LevelBlock {
  double sum = 0;
  double sum_of_squares = 0;
};

struct LevelResult {
  std::size_t samples = 0;
  double mean = 0;               ///< dc, fraction of full scale
  double mean_square = 0;        ///< dc taken out
  double peak = 0;               ///< largest sample magnitude
  double swing = 0;              ///< largest departure of a sample from the mean: the peak, dc taken out
  double mean_u = 0;             ///< expanded (k=2)
  double mean_square_rel_u = 0;  ///< expanded (k=2), relative
  double block_s = 0;            ///< length of a block
  std::vector<double> blocks;    ///< mean square of each whole block, dc taken out, in order of time
};

/// Streaming; memory is bounded (a block stands for a longer time in a longer capture).
class LevelAnalyser {
 public:
  explicit LevelAnalyser(double rate_hz);
  /// Throws Error(Unusable) naming the time of the first sample that is NaN or infinite.
  void push(std::span<const float> samples);
  /// The rms uncertainty comes from how neighbouring stretches differ: noise gives what its bandwidth and the
  /// capture's length leave open, a steady tone next to nothing.
  [[nodiscard]] LevelResult finish() const;

 private:
  void add(std::span<const float> part);
  void close_block();

  double rate_hz_;
  std::size_t block_samples_;
  std::size_t filled_ = 0;  // samples in the open block
  std::size_t samples_ = 0;
  LevelBlock open_;
  LevelBlock total_;
  float highest_ = std::numeric_limits<float>::lowest();
  float lowest_ = std::numeric_limits<float>::max();
  std::vector<LevelBlock> blocks_;
};

/// Step between neighbouring sample values (full scale +-1), where the capture's format says it ("WAV, 24
/// bit").
[[nodiscard]] std::optional<double> quantisation_step(const CaptureFacts& facts);

/// audio.level.rms .peak .crest .dc, and .voltage where the input is calibrated.
[[nodiscard]] Readings to_readings(const LevelResult& level, const CaptureFacts& facts,
                                   std::string_view suffix);

}  // namespace linebench::measure
