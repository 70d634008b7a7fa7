// The search for mobile-phone bursts, fed with short-time spectra.
#pragma once

#include <complex>
#include <cstddef>
#include <linebench/measure/phone_burst.hpp>
#include <span>
#include <vector>

#include "hum_chunk.hpp"

namespace linebench::measure {

class PhoneBurstCore {
 public:
  explicit PhoneBurstCore(const FrameGrid& grid);
  void frame(std::span<const std::complex<float>> bins);
  [[nodiscard]] PhoneBurstResult finish() const;

  /// Frames that one look takes in, the latest of them the last that was pushed when `hits` rises.
  static constexpr std::size_t window_frames = 8;  // 0.44 s
  /// Looks that saw bursts so far, and the sum of their rates' distances from the nominal one, Hz.
  [[nodiscard]] double hits() const { return hits_; }
  [[nodiscard]] double offset_sum() const { return offset_sum_; }

 private:
  struct Tooth {
    std::size_t bin = 0;
    std::size_t below = 0, above = 0;     // bins half way to the neighbours
    double gain = 1;                      // of the bin at the harmonic
    std::vector<std::complex<double>> z;  // latest frames, turned back by the harmonic
    std::vector<double> beside;
  };
  void judge();

  FrameGrid grid_;
  std::vector<Tooth> teeth_;
  std::size_t frames_ = 0;
  double windows_ = 0;
  double hits_ = 0;
  double first_s_ = 0;
  double offset_sum_ = 0, offset_square_ = 0;
  double power_sum_ = 0, power_square_ = 0, power_cube_ = 0;
  double beside_sum_ = 0;
};

}  // namespace linebench::measure
