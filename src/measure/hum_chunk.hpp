// One stretch of about ten seconds of short-time spectra: the steady lines in it and the fit of a mains comb
// to it.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace linebench::measure {

struct FrameGrid {
  double hop_s = 0;
  double bin_hz = 0;
  std::size_t bins = 0;
  double top_hz = 0;
  double first_centre_s = 0;  ///< time of the first frame's centre after the first sample
};

/// A steady sinusoid seen in the frames.
struct SteadyLine {
  double hz = 0;
  double amplitude = 0;  ///< peak
  std::size_t bin = 0;
};

/// Frames of one stretch, bin by bin: z(b)[m] is bin b at frame m.
class HumChunk {
 public:
  /// Further from a steady line than this its skirts are taken out. (Four bins away they turn like a line one
  /// frame rate off, so no fit could tell them apart there.)
  static constexpr double line_reach_bins = 3.0;

  HumChunk(const FrameGrid& grid, std::size_t capacity);

  void add(std::span<const std::complex<float>> frame);
  void clear() { frames_ = 0; }
  [[nodiscard]] bool full() const { return frames_ == capacity_; }
  [[nodiscard]] std::size_t frames() const { return frames_; }
  [[nodiscard]] const FrameGrid& grid() const { return grid_; }
  /// Time of frame m from the middle of the stretch.
  [[nodiscard]] double time_s(double m) const {
    return (m - 0.5 * static_cast<double>(frames_ - 1)) * grid_.hop_s;
  }
  [[nodiscard]] double seconds() const { return static_cast<double>(frames_ + 3) * grid_.hop_s; }
  [[nodiscard]] std::span<const std::complex<float>> z(std::size_t bin) const {
    return std::span(by_bin_).subspan(bin * capacity_, frames_);
  }

  /// Sorts the frames by bin, finds the strongest steady lines and takes their side lobes out of all other
  /// bins.
  void prepare();
  [[nodiscard]] const std::vector<SteadyLine>& lines() const { return lines_; }
  /// Amplitude of the strongest line, 0 when there is none.
  [[nodiscard]] double strongest() const { return lines_.empty() ? 0.0 : lines_.front().amplitude; }

 private:
  void find_lines();
  void remove_side_lobes(const SteadyLine& line);

  FrameGrid grid_;
  std::size_t capacity_;
  std::size_t frames_ = 0;
  std::vector<std::complex<float>> by_frame_;
  std::vector<std::complex<float>> by_bin_;
  std::vector<SteadyLine> lines_;
};

struct CombHarmonic {
  bool used = false;          ///< false: out of band, or on a line that is not mains
  double power = 0;           ///< mean square over the whole stretch, noise taken out; may come out negative
  double power_variance = 0;  ///< of that
  double variance = 0;        ///< E|error|^2 of the amplitude (peak)
  double evidence = 0;        ///< -ln of the chance that noise alone gives as much
};

/// Part of a stretch in which the comb held its level.
struct HumSpan {
  double from_s = 0;  ///< from the middle of the stretch
  double to_s = 0;
  double power = 0;  ///< mean square of all harmonics that stand out, while it lasted
};

struct CombFit {
  double f0_hz = 0;  ///< mean over the time it was there
  double f0_variance = 0;
  double lowest_hz = 0, highest_hz = 0;  ///< where it wandered
  std::vector<CombHarmonic> harmonics;   ///< [0] is the fundamental
  std::vector<HumSpan> spans;            ///< one, unless the level changed
  double border_variance = 0;            ///< of the total power, for not knowing when the level changed
  double score = 0;                      ///< sum of evidence beyond chance
  double quality = 0;                    ///< what it explains, less what its freedom would explain of noise
  double excess = 1;                     ///< variance found over variance that noise alone makes
  double misfit = 1;                     ///< what it leaves of the frames over the noise beside it
  /// More is left than noise, or the level is said to change: mains that moves may explain it better.
  [[nodiscard]] bool wants_another() const { return excess > 2.0 || misfit > 3.0 || spans.size() > 1; }
  bool found = false;
  double denied_power = 0;  ///< lines that stand out but make no mains pattern: mean square
  double denied_hz = 0;     ///< the lowest of them
  double hidden_power = 0;  ///< at most this mean square is there in snatches too short or weak to be found
};

/// Whether a path of more freedom explains enough more to be preferred: a voice always gives it a little.
[[nodiscard]] bool clearly_better(const CombFit& a, const CombFit& b);

struct CombSearch {
  double low_hz = 45.0;
  double high_hz = 65.0;
  bool public_first = false;  ///< programme has lines anywhere; public mains only where it runs
};

/// Public mains, 50 or 60 Hz, keeps within this: 1 % of 50 Hz [EN 50160].
inline constexpr double public_mains_hz = 0.5;

/// What a frame's weight in the search is taken from: what is at the line itself (a voice is then counted
/// least), or what is beside it (the line need not be there all the time).
enum class Loudness { Own, Beside };

/// Fundamentals most worth a fit, best first, before them where asked the best in public mains: lines that
/// keep their phase through the stretch, added up over the comb. `foreign` are frequencies that are not
/// mains.
[[nodiscard]] std::vector<double> likely_fundamentals(const HumChunk& chunk, const CombSearch& search,
                                                      std::span<const double> foreign, std::size_t count,
                                                      Loudness loudness);

/// The same from what stands out most within some two seconds of the stretch; none in a short one.
[[nodiscard]] std::vector<double> short_lived_fundamentals(const HumChunk& chunk, const CombSearch& search,
                                                           std::span<const double> foreign);

/// Joint least squares of all harmonics with the fundamental (and its drift) unknown, from a start within
/// 0.3 / seconds of it. Frames and bands are weighted by the noise found in them; the comb may be there for
/// part of the stretch only.
[[nodiscard]] CombFit fit_comb(const HumChunk& chunk, double start_hz, std::span<const double> foreign);

/// The same for mains that moves by more than the fit would find by itself: the most likely frequency over
/// time is searched first. Nothing found when no moving frequency is likely.
[[nodiscard]] CombFit fit_wandering_comb(const HumChunk& chunk, const CombSearch& search,
                                         std::span<const double> foreign);

/// Whether what stands out makes a pattern that mains makes; sets `found`, `score`, `denied_power`.
/// @param stretch_s length of the stretch. @param extra_trials ln of how much more was tried than usual.
void judge(CombFit& fit, double stretch_s, double extra_trials);

}  // namespace linebench::measure
