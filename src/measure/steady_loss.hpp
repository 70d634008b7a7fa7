// A signal whose course is known to be steady (a tone, tones, STIPA, noise) must be there from its start to
// its end at one level. The readings of the signal itself are taken where it is steady; this one looks at
// what lies outside.
#pragma once

#include <cstddef>
#include <linebench/base/reading.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/measure/events.hpp>
#include <linebench/signals/recipe.hpp>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct SteadyLossResult {
  std::vector<Event> losses;  ///< the signal is 20 dB and more under itself; strength: length in s
  bool to_the_end = false;    ///< the last loss is: nothing came back, though it was sent for longer
  std::optional<double>
      step_db;           ///< of what holds no tone: largest lasting change of level, later over earlier
  double step_u_db = 0;  ///< k=2
  double step_at_s = 0;
};

/// One channel, streaming; a level is kept for each 20 ms of the first hour.
class SteadyLoss {
 public:
  /// Whether a recipe's signal holds its level from begin to end, and this rate shows it.
  [[nodiscard]] static bool tells(const signals::Recipe& sent, double rate_hz);
  SteadyLoss(double rate_hz, const signals::Recipe& sent);
  void push(std::span<const float> samples);
  /// Silence before the signal's start is none of it, nor what follows when all that was sent has come.
  [[nodiscard]] SteadyLossResult finish() const;

 private:
  bool tone_;
  double sent_s_;
  double block_s_;
  std::size_t block_samples_;
  dsp::Cascade filter_;  // keeps the signal's band, so that hum beside it does not stand for it
  std::size_t filled_ = 0;
  double sum_ = 0;
  std::vector<float> blocks_;  // mean square
};

/// Adds the losses that the search for edges did not count.
void add_losses(EventsResult& events, const SteadyLossResult& loss);

/// audio.signal.step and its time, where one was found.
[[nodiscard]] Readings to_readings(const SteadyLossResult& loss, std::string_view suffix);

}  // namespace linebench::measure
