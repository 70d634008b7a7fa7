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

struct Harmonic {
  bool used = false;       ///< false: out of band, or on a line that is not mains
  std::complex<double> a;  ///< complex amplitude (peak), noise in it
  double variance = 0;     ///< E|error|^2 of it
  double evidence = 0;     ///< -ln of the chance that noise alone gives as much
};

struct CombFit {
  double f0_hz = 0;
  double f0_variance = 0;
  double drift_hz_per_s = 0;
  std::vector<Harmonic> harmonics;  ///< [0] is the fundamental
  double score = 0;                 ///< sum of evidence beyond chance
  bool found = false;
};

struct CombSearch {
  double low_hz = 45.0;
  double high_hz = 65.0;
};

/// Fundamentals most worth a fit, best first: lines that keep their phase through the stretch, added up over
/// the comb. `foreign` are frequencies that are not mains.
[[nodiscard]] std::vector<double> likely_fundamentals(const HumChunk& chunk, const CombSearch& search,
                                                      std::span<const double> foreign, std::size_t count);

/// Joint least squares of all harmonics with the fundamental (and its drift) unknown, from a start within
/// 0.3 / seconds of it. Frames and bands are weighted by the noise found in them.
[[nodiscard]] CombFit fit_comb(const HumChunk& chunk, double start_hz, std::span<const double> foreign);

}  // namespace linebench::measure
