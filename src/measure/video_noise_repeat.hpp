// What comes again frame by frame: fine picture that passed for flat.
#pragma once

#include <complex>
#include <cstdint>
#include <linebench/measure/video_line.hpp>
#include <map>
#include <span>
#include <utility>
#include <vector>

namespace linebench::measure {

/// Noise differs from frame to frame, a still picture does not: the cross spectrum of the same stretch in two
/// frames that follow each other is the picture's share of the power. A few dozen lines of the frame are
/// remembered.
class RepeatMeter {
 public:
  /// @param length samples of a stretch.
  explicit RepeatMeter(std::size_t length) : length_(static_cast<double>(length)) {}
  /// @param at position of the stretch's first sample re 0H, samples. @param spectrum windowed transform.
  void add(const LineView& v, double at, std::span<const std::complex<double>> spectrum);

  struct Share {
    double pairs = 0;
    std::vector<double> of_power;  ///< by bin: cross power over power, at most 1; empty without pairs
  };
  [[nodiscard]] Share share() const;

 private:
  struct Kept {
    std::uint64_t frame = 0;
    double at = 0;
    std::vector<std::complex<double>> spectrum;
  };
  double length_;
  std::map<std::pair<int, int>, Kept> kept_;  // by line and, roughly, place on it
  std::vector<double> cross_;
  std::vector<double> power_;
  double pairs_ = 0;
};

}  // namespace linebench::measure
