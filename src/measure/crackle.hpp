// Bursts of noise beside a steady tone: a contact or a part that crackles, a link that conceals what it lost.
// Too long for a click, and outside the stretch that the tone's own noise is read from.
#pragma once

#include <cstddef>
#include <linebench/base/reading.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/measure/events.hpp>
#include <span>
#include <string_view>
#include <vector>

namespace linebench::measure {

/// One channel, streaming; levels of each 10 ms of the last second are kept.
class CrackleSearch {
 public:
  CrackleSearch(double rate_hz, double tone_hz);
  void push(std::span<const float> samples);
  /// @return bursts of 25 ms to half a second, 12 dB and more above what is beside the tone in the second
  /// around them, and not further than 40 dB under the tone; strength: dB re the tone.
  [[nodiscard]] std::vector<Event> finish();

 private:
  struct Block {
    double tone = 0, rest = 0;  // mean squares
  };
  void close_block();
  void look(std::size_t at);  // at a block that has half a second on both sides, or the channel's end

  double block_s_;
  std::size_t block_samples_;
  dsp::Cascade rest_filter_;
  std::size_t filled_ = 0;
  Block open_;
  std::vector<Block> held_;
  std::size_t first_ = 0;  // number of held_[0]
  std::size_t looked_ = 0;
  std::size_t loud_ = 0;  // blocks in a row
  double most_db_ = 0;
  std::vector<Event> found_;
};

/// audio.crackle.count and .times with the suffix appended.
[[nodiscard]] Readings crackle_readings(const std::vector<Event>& bursts, std::string_view suffix);

}  // namespace linebench::measure
