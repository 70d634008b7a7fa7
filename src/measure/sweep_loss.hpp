// A sweep that was sent must come back to its end. What a path does to its level is slow: even a filter that
// cuts off without any slope takes a sweep away over a while that the speed of the sweep sets [Fresnel's
// integral]. What goes faster, and stays away, was broken off.
#pragma once

#include <linebench/dsp/biquad.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/signals/recipe.hpp>
#include <span>
#include <vector>

#include "steady_loss.hpp"

namespace linebench::measure {

/// One channel, streaming; a level is kept for each 5 ms of the first two minutes.
class SweepLoss {
 public:
  /// Whether a recipe is a sweep slow enough for its loss to be told from a filter's edge.
  [[nodiscard]] static bool tells(const signals::Recipe& sent);
  SweepLoss(double rate_hz, const signals::Recipe& sent);
  void push(std::span<const float> samples);
  [[nodiscard]] SteadyLossResult finish() const;

 private:
  void close_block();
  [[nodiscard]] bool falls_at(const std::vector<double>& db, std::size_t i) const;
  [[nodiscard]] bool glides_to(std::size_t frame) const;

  double to_hz_;
  double growth_s_;  // in which the frequency grows by e
  double rate_hz_;
  std::size_t block_samples_;
  double block_s_;
  dsp::Cascade filter_;
  dsp::RealFft frame_;  // some blocks long: its strongest line is where the sweep is
  std::size_t filled_ = 0;
  double sum_ = 0;
  std::vector<float> blocks_;  // mean square
  std::vector<double> hz_;     // of each frame
};

}  // namespace linebench::measure
