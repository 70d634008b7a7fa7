// Whether the two sides of a capture stay what they are to each other from its start to its end.
#pragma once

#include <array>
#include <cstddef>
#include <linebench/base/reading.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// Streaming, bounded memory: powers and products of the sides in blocks of a quarter of a second, which grow
/// in captures of over a quarter of an hour.
class PairSteady {
 public:
  explicit PairSteady(double rate_hz);
  /// @param left, right equally long
  void push(std::span<const float> left, std::span<const float> right);
  /// audio.pair.steady, a word:
  /// - "left lost", "right lost": that side falls silent for three seconds or more while the other goes on,
  /// and
  ///   before they had something in common;
  /// - "left pauses", "right pauses": the same where they had nothing in common (two languages): either;
  /// - "turned": what both share is in phase in one stretch of three seconds and reversed in another;
  /// - "steady".
  [[nodiscard]] Reading finish() const;

 private:
  struct Block {
    std::array<double, 2> sum{}, square{}, step{};  // step: of the differences from sample to sample
    double product = 0, step_product = 0;
    void operator+=(const Block& b);
  };
  struct Gone {
    double from_s = 0, to_s = 0, other_s = 0;
  };
  [[nodiscard]] double power(const Block& b, int side) const;
  [[nodiscard]] static double alike(const Block& b);
  [[nodiscard]] Gone longest_gone(int side) const;
  [[nodiscard]] double usual(int side) const;
  void close();

  double rate_hz_;
  std::size_t block_samples_;
  std::size_t filled_ = 0;
  Block open_;
  std::array<float, 2> before_{};
  std::vector<Block> blocks_;
};

}  // namespace linebench::measure
