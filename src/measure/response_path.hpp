// Inside of the response measurement: one path, its spectra, and what is read from them.
#pragma once

#include <complex>
#include <cstddef>
#include <linebench/base/reading.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/response.hpp>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::measure::response {

using Complex = std::complex<double>;

/// Clocks further apart than this are not looked for.
inline constexpr double clock_range = 450e-6;

/// Where the sent signal lies in the return: sent sample n comes back at lag + n (1 + clock).
struct Alignment {
  double lag = 0;           ///< samples
  double standing_out = 0;  ///< peak of the whitened correlation over its rms
  std::optional<double>
      clock;  ///< how much longer the return takes than the signal sent; empty: could not tell
  double clock_uncertainty = 0;
};

/// Best lag over all lags, by correlation of the whitened signals, in a band below 6 kHz for speed.
[[nodiscard]] Alignment find_lag(std::span<const float> sent, std::span<const float> returned,
                                 double rate_hz);

/// Slope of the lag over time, segment by segment. Empty when there are too few segments with a clear lag, or
/// when the frequency wanders through the signal so that a path's group delay would be taken for a clock (a
/// sweep).
struct ClockFit {
  double clock = 0;
  double uncertainty = 0;  ///< k=2
  double lag = 0;          ///< at sent sample 0
  double about = 0;        ///< sent sample about which it turns, where that is known
};
[[nodiscard]] std::optional<ClockFit> clock_from_segments(std::span<const float> sent,
                                                          std::span<const float> returned, double rate_hz,
                                                          double lag);

/// `samples` taken every (1 + clock) samples.
[[nodiscard]] std::vector<float> retime(std::span<const float> samples, double clock);

/// The part of sent and return that belong together, cut out.
struct Cut {
  std::vector<float> sent, returned;
  std::size_t before = 0;
  double rest = 0;  ///< samples by which the direct sound is later than `before`
  double lag = 0;   ///< of the cut's sent sample 0, in the whole
  double used = 1;  ///< share of the sent signal
};

[[nodiscard]] Cut cut(std::span<const float> sent, std::span<const float> returned, double lag,
                      double rate_hz);

/// dc taken out.
[[nodiscard]] double rms(std::span<const float> x);

/// Whether what is called sent looks like a recording of what is called returned.
[[nodiscard]] bool likely_swapped(std::span<const float> sent, std::span<const float> returned, double lag,
                                  double rate_hz);

/// Sums over a narrow band of frequencies.
struct SubBand {
  double hz = 0;  ///< where the sent energy lies
  double sent = 0, returned = 0;
  Complex cross;
  double bins = 0;       ///< independent ones
  double emitted_s = 0;  ///< mean time at which the sent signal holds this band
};

/// Spectra of a stretch of the sent signal and of the return that belongs to it.
class PathSpectra {
 public:
  /// @param before samples of `returned` before the one that sent sample 0 is found at.
  PathSpectra(std::span<const float> sent, std::span<const float> returned, std::size_t before,
              double rate_hz);

  [[nodiscard]] double rate_hz() const noexcept { return rate_hz_; }
  [[nodiscard]] std::size_t before() const noexcept { return before_; }
  /// Narrow bands (1/48 octave, more where that holds less than four bins), phases re sent sample 0 + late
  /// samples.
  [[nodiscard]] std::vector<SubBand> sub_bands(double late) const;
  /// Impulse response: return over sent, times factor[k], from sample 0 of the return stretch on (the direct
  /// sound is at before()); `count` samples. Where the sent signal is weak the division is held back by
  /// floor[k], a power.
  [[nodiscard]] std::vector<double> impulse(std::size_t count, std::span<const Complex> factor,
                                            std::span<const double> floor) const;
  [[nodiscard]] std::span<const Complex> sent() const noexcept { return sent_spectrum_; }
  [[nodiscard]] std::span<const Complex> returned() const noexcept { return returned_spectrum_; }
  [[nodiscard]] std::size_t size() const noexcept { return size_; }
  /// Independent bins per bin: less than one where the transform is longer than the return.
  [[nodiscard]] double independent() const noexcept { return independent_; }

 private:
  double rate_hz_;
  std::size_t before_;
  std::size_t size_;
  double independent_;  ///< independent bins per bin
  std::vector<Complex> sent_spectrum_, returned_spectrum_;
};

/// One point of the response.
struct Point {
  double hz = 0;        ///< exact band centre
  double db = 0;        ///< absolute
  double sigma_db = 0;  ///< one sigma
  double coherence = 0;
  bool good = false;
};

/// Third-octave points from 20 Hz to 20 kHz that lie below the Nyquist frequency.
[[nodiscard]] std::vector<Point> third_octave_points(const std::vector<SubBand>& bands, double rate_hz);

/// Level over frequency in narrow bands where coherent, for band edges and the minimum phase.
struct Profile {
  std::vector<double> hz, db, snr;  ///< snr: power, per band
  std::vector<Complex> transfer;
  std::vector<double> emitted_s;
};
[[nodiscard]] Profile profile(const std::vector<SubBand>& bands, const std::vector<Point>& points);

/// Minimum phase that belongs to a level profile, smoothed over `octaves`, as a function of frequency.
class MinimumPhase {
 public:
  /// @param analogue the path goes on falling beyond half the rate as it does before it, as analogue ones do;
  /// else its response is that of samples, periodic in frequency.
  MinimumPhase(std::span<const double> hz, std::span<const double> db, std::span<const double> weight,
               double rate_hz, double octaves, bool analogue = false);
  [[nodiscard]] double phase(double hz) const;  ///< radians
  [[nodiscard]] double db(double hz) const;

 private:
  double step_hz_;
  std::vector<double> phase_, db_;
};

/// What is left when the minimum phase is taken out: a pure delay and a sign.
struct Excess {
  double late = 0;          ///< samples, on top of the alignment
  double sampled_late = 0;  ///< by the sampled minimum phase alone, which MinimumPhase takes out
  double uncertainty = 0;   ///< k=2
  int polarity = 1;
  double clear = 0;  ///< share of the weighted band whose phase agrees, 0..1
};
[[nodiscard]] Excess excess_delay(const Profile& p, double rate_hz);

/// Clock error from a sweep: excess group delay against the time each band was sent. Empty when not clear.
[[nodiscard]] std::optional<ClockFit> clock_from_sweep(const Profile& p, double rate_hz);

/// The same from how the phases of a sweep's bands lie about one line: far closer, but only where they do,
/// within a fraction of a turn. Empty elsewhere. For small clock errors, and for how large one can be.
[[nodiscard]] std::optional<ClockFit> clock_from_phases(const Profile& p, double rate_hz);

struct Echo {
  double delay_s = 0;
  double delay_uncertainty_s = 0;
  double level_db = 0;
  double level_uncertainty_db = 0;
  int polarity = 1;
};
struct EchoSearch {
  std::optional<Echo> strongest;
  double at_most_db = 0;  ///< where none: anything there is below this
  double up_to_s = 0;     ///< longest delay looked at; a signal that repeats itself shows none beyond that
};
[[nodiscard]] EchoSearch find_echo(const PathSpectra& spectra, const std::vector<SubBand>& bands,
                                   const Profile& p, double late, std::size_t returned_samples);

}  // namespace linebench::measure::response
