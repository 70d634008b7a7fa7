// Regenerating the subcarrier from the bursts: frequency, phase, V switch.
#pragma once

#include <complex>
#include <cstdint>
#include <span>

#include "video_tracker.hpp"

namespace linebench::measure {

/// What the bursts of a stretch of lines say about one trial frequency.
struct FoundSubcarrier {
  bool found = false;
  double nominal_hz = 0;  ///< the standard's
  double hz = 0;          ///< as received, by the recorder's clock
  double phase_at_0 = 0;  ///< of the +U axis at sample 0
  bool alternates = false;
  int v_even = 0;          ///< V switch of lines with an even index; 0 when V does not alternate
  double amplitude_v = 0;  ///< median burst, volts peak
  double coherence = 0;    ///< 1: every burst keeps step with the one two lines before
};

/// @param which trial frequency in LineMark::burst; its probe must have been at exactly `probe_hz`.
[[nodiscard]] FoundSubcarrier find_subcarrier(std::span<const LineMark> marks, std::size_t which,
                                              double probe_hz, double rate_hz);

/// Middle of the stretch over which burst phase is read, us from 0H.
[[nodiscard]] double burst_middle_us();

/// Follows the subcarrier from burst to burst: a second-order loop, wide enough for a crystal, narrow enough
/// that noise of single bursts does not show (about 60 lines).
class SubcarrierLock {
 public:
  SubcarrierLock() = default;
  SubcarrierLock(const FoundSubcarrier& found, double probe_hz, double rate_hz);
  struct State {
    bool burst_found = false;
    std::complex<double> burst{};  ///< U + jV, volts peak
    double hz = 0;
    double phase = 0;  ///< of the +U axis at t0
    int v_switch = 0;
  };
  State step(const LineMark& mark, double t0);
  [[nodiscard]] double hz() const { return hz_; }

 private:
  bool swings_against(int v, std::complex<double> now, std::uint64_t index);

  bool on_ = false;
  double probe_hz_ = 0;
  double rate_hz_ = 0;
  bool alternates_ = false;
  int v_even_ = 0;
  double least_v_ = 0;
  double hz_ = 0;
  double phase_ = 0;  // of +U at at_
  double at_ = 0;
  std::complex<double> swing_from_{};  // burst of the line before, where and which that was
  double swing_at_ = 0;
  std::uint64_t swing_index_ = 0;
  int wrong_v_ = 0;
  double off_ = 0;          // mean error of the last few bursts, rad
  int settling_ = 1 << 10;  // bursts since a jump
};

}  // namespace linebench::measure
