// Lines that a mobile phone's bursts leave in a stretch, so that they are not taken for mains: the multiples
// of its frame rate, and those of the multiframe, 8.33 Hz apart, that the idle 26th frame makes. Every sixth
// of the latter lies on a multiple of 50 Hz.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "hum_chunk.hpp"

namespace linebench::measure {

class PhoneLines {
 public:
  PhoneLines() = default;
  /// @param frame_rate_hz of the bursts, by the recorder's clock. @param burst one per frame of the stretch:
  /// whether there were bursts.
  PhoneLines(const HumChunk& chunk, double frame_rate_hz, std::span<const char> burst);

  [[nodiscard]] bool any() const { return rate_hz_ > 0.0; }
  /// Lines that are the phone's and nothing else's as far as can be seen.
  [[nodiscard]] const std::vector<double>& hz() const { return hz_; }
  [[nodiscard]] bool is_line(double hz, double within_hz) const;
  /// The most mains hum that could be hidden under the lines on the first multiples of 50 Hz (mean square).
  [[nodiscard]] double hidden_power() const;
  /// What the multiframe's lines do to harmonics they share: their power comes off, their beat goes into the
  /// uncertainties. A comb whose low harmonics hold next to nothing is the phone's, not mains: not found
  /// then.
  void allow_for(CombFit& fit, double stretch_s) const;

 private:
  [[nodiscard]] double line_near(double hz) const;
  [[nodiscard]] bool supported(const CombFit& fit) const;

  double rate_hz_ = 0;
  double near_hz_ = 1;  // how wide a line is
  double power_ = 0;    // mean square of the frame rate's lines
  bool idle_seen_ = false;
  std::vector<double> multiframe_;  // [n]: mean square of line n as its neighbours have it; 0: none seen
  std::vector<double> hz_;
};

}  // namespace linebench::measure
