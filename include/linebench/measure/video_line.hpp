// One scan line as every waveform measure sees it: clamped, in millivolts, timed from 0H, with the
// regenerated subcarrier. The receiver (video_receiver.hpp) makes these one after another; a measure is a
// LineMeter that takes them as they come and keeps only sums, so memory does not grow with the length of the
// capture.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdint>
#include <linebench/base/reading.hpp>
#include <span>

namespace linebench::measure {

/// What the receiver knows of the signal before it hands out the first line. It does not change during a run.
struct VideoSetup {
  double rate_hz = 0;  ///< sample rate as the recorder states it
  int lines = 625;     ///< 525 or 625: which numbering and nominal timing apply
  int lines_per_frame =
      0;  ///< counted between vertical syncs (525, 625, or e.g. 262 when not interlaced); 0: unknown
  bool interlaced = false;         ///< vertical sync falls on line and half line in turn
  bool numbered = false;           ///< vertical sync was found, so LineView::line is right
  bool inverted = false;           ///< sync was positive; lines are handed out the right way up
  bool black_seen = false;         ///< the picture has a black to tell setup by
  bool setup = false;              ///< 525 with black raised by 7.5 IRE; only meaningful with black_seen
  bool colour = false;             ///< a burst was found
  double subcarrier_hz = 0;        ///< standard's frequency of the subcarrier found, exact; 0 without colour
  bool v_alternates = false;       ///< swinging burst: the V component is reversed on every other line
  double subcarrier_true_hz = 0;   ///< as received, by the recorder's clock; 0 without colour
  double line_period_samples = 0;  ///< mean, as received
  double sync_mv = 0;              ///< blanking minus sync tip, as received
  double noise_mv = 0;    ///< rms at a single sample on blanking and tips, whole bandwidth of the capture
  double wander_mv = 0;   ///< rms by which blanking and sync tip part from line to line beyond noise: a tone
  double quantum_mv = 0;  ///< step of the recorder's converter; 0: none seen (or finer than matters)
  double edge_jitter_samples = 0;  ///< rms by which single sync edges leave their regular place

  /// Level of this signal re the standard's, from sync: 1 = nominal.
  [[nodiscard]] double gain() const {
    return sync_mv > 0 ? sync_mv / (lines == 625 ? 300.0 : 2000.0 / 7.0) : 1.0;
  }
  /// What is left of such wander in the mean level of so many lines, k = 2, mV: a tone that moves the edges
  /// is met at some of its phases more often than at others.
  [[nodiscard]] double wander_of(double lines_averaged) const {
    return wander_mv * std::hypot(2 / std::sqrt(std::max(1.0, lines_averaged)), 0.08);
  }
  /// One cycle of the subcarrier in microseconds by the recorder's clock; 0 without colour.
  [[nodiscard]] double subcarrier_us() const {
    return subcarrier_true_hz > 0 ? 1e6 / subcarrier_true_hz : 0.0;
  }
};

/// What the sync pulses make of a line.
enum class LineKind : std::uint8_t {
  Picture,  ///< one line sync, then picture or vertical blanking
  Pulses,   ///< equalising or broad pulses in the first or second half, or both
};

/// One line from 5 us before its 0H to 5 us after the next line's 0H. Times given to the helpers are
/// microseconds from 0H, the 50 % point of the leading edge of sync. The view and what it points to live only
/// during the call.
struct LineView {
  const VideoSetup* setup = nullptr;
  std::uint64_t index =
      0;         ///< lines handed out before this one; a lost line counts, so index * period is time
  int line = 0;  ///< standard's line number, 1..525 or 1..625; 0 when there is no vertical sync to count from
  int field = 0;            ///< 1 or 2; 0 when unknown
  std::uint64_t frame = 0;  ///< frames begun (line 1 passed) since the start
  LineKind kind = LineKind::Picture;
  bool broad_first = false;   ///< broad pulse in the first half line
  bool broad_second = false;  ///< broad pulse in the second half line
  bool sync_found = false;    ///< false: 0H is where it should have been (flywheel)
  bool colour_burst = false;  ///< burst found on this line

  double t0 =
      0;  ///< 0H, sample index from the capture's start: `edge`, smoothed as far as its scatter is noise
  double edge = 0;        ///< 0H as measured on this line alone, sample index; NaN when sync was not found
  double edge_noise = 0;  ///< standard deviation of `edge` by noise, samples
  double line_period_samples = 0;  ///< to the next line's 0H
  double rate_hz = 0;              ///< sample rate
  std::int64_t first = 0;          ///< sample index of mv[0], counted from the start of the capture
  std::span<const float> mv;       ///< mV, blanking = 0 on both sides of the line, sync negative
  double blanking_mv = 0;  ///< what the clamp took away at the back porch: blanking re the recorder's 0 V
  double tip_mv = 0;       ///< sync tip (negative); NaN when sync was not found
  std::complex<double> burst{};  ///< U + jV of the burst, mV peak (half of peak to peak); 0 without burst
  double subcarrier_hz = 0;      ///< as received now, by the recorder's clock; 0 without colour
  double subcarrier_phase =
      0;             ///< rad: composite chroma = U sin(w (t - t0) + phase) + V cos(...) after V switch
  int v_switch = 0;  ///< +1: V as is, -1: V reversed on this line; 0 when V does not alternate or no colour

  [[nodiscard]] double samples_per_us() const { return rate_hz * 1e-6; }
  /// Position in `mv` of a time, fractional; may lie outside 0..size-1.
  [[nodiscard]] double position(double t_us) const {
    return t0 + t_us * samples_per_us() - static_cast<double>(first);
  }
  /// True when from_us..to_us lies inside `mv`.
  [[nodiscard]] bool covers(double from_us, double to_us) const {
    return position(from_us) >= 0 && position(to_us) <= static_cast<double>(mv.size()) - 1;
  }
  /// Value at a time, mV, by 4-point interpolation; held at the ends of the view. For finer work use
  /// resample().
  [[nodiscard]] double sample(double t_us) const;
  /// Mean over from_us..to_us, mV, with the parts of the outer samples weighted. NaN where nothing of it is
  /// covered.
  [[nodiscard]] double level(double from_us, double to_us) const;
  /// Mean over from_us..to_us under a sin^2 taper: takes subcarrier out of a flat luminance level when the
  /// stretch is 4 cycles or longer (better than 0.1 % of the chroma for whole stretches). mV.
  [[nodiscard]] double flat_level(double from_us, double to_us) const;
  /// Mean chroma vector U + jV over from_us..to_us, mV peak, against the regenerated subcarrier: real along
  /// +(B-Y), imaginary along +(R-Y), V switch undone. The stretch's mean and slope are taken out first and a
  /// sin^2 taper keeps luminance away; 4 cycles or longer. 0 without colour.
  [[nodiscard]] std::complex<double> chroma(double from_us, double to_us) const;
  /// The same, of any frequency and by the same taper: phase re t0, A of A sin(w (t - t0) + phase) as
  /// complex.
  [[nodiscard]] std::complex<double> tone(double hz, double from_us, double to_us) const;
  /// Fills `out` with the waveform at from_us, from_us + step_us, ... by 20-point windowed-sinc interpolation
  /// (exact to 0.1 % up to 0.8 of half the sample rate), mV.
  void resample(double from_us, double step_us, std::span<float> out) const;
};

/// A measure on lines. `line` is called for every line in order, `finish` once.
class LineMeter {
 public:
  LineMeter() = default;
  LineMeter(const LineMeter&) = delete;
  LineMeter& operator=(const LineMeter&) = delete;
  virtual ~LineMeter() = default;
  virtual void line(const LineView& view) = 0;
  /// Readings of this measure; `setup` as at the end. What could not be measured is unmeasurable() with the
  /// reason.
  virtual void finish(const VideoSetup& setup, Readings& out) = 0;
};

}  // namespace linebench::measure
