// Follows the strongest steady sine of a channel from segment to segment, and adds up what is needed to read
// it, its harmonics and the noise beside it.
#pragma once

#include <array>
#include <complex>
#include <cstddef>
#include <linebench/measure/spectrum.hpp>
#include <linebench/measure/texture.hpp>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure {

/// A line that stands out of its surroundings in a power spectrum.
struct SpectralPeak {
  double bins = 0;         ///< where, in bins
  double mean_square = 0;  ///< of the line
  double noise = 0;        ///< noise power per bin beside it
};

/// Sums and maxima over blocks of bins, so that looking for lines need not go over every bin again.
class BlockSummary {
 public:
  static constexpr std::size_t block = 16;
  /// @param from first bin that counts
  void set(std::span<const double> power, std::size_t from);
  [[nodiscard]] double total() const { return total_; }
  /// The strongest bin.
  [[nodiscard]] std::size_t strongest(std::span<const double> power) const;
  [[nodiscard]] std::span<const double> sums() const { return sums_; }
  [[nodiscard]] std::span<const double> maxima() const { return maxima_; }

 private:
  double total_ = 0;
  std::vector<double> sums_;
  std::vector<double> maxima_;
};

/// The `most` strongest lines between two bins, strongest first: local maxima at least 15 dB above what lies
/// beside.
[[nodiscard]] std::vector<SpectralPeak> find_peaks(std::span<const double> power, const BlockSummary& summary,
                                                   const SpectrumShape& shape, std::size_t from,
                                                   std::size_t to, std::size_t most);
/// The same over a spectrum not summed up before.
[[nodiscard]] std::vector<SpectralPeak> find_peaks(std::span<const double> power, const SpectrumShape& shape,
                                                   std::size_t from, std::size_t to, std::size_t most);
/// The line at the strongest bin within `reach` bins of `bins`, if one stands out there.
[[nodiscard]] std::optional<SpectralPeak> peak_near(std::span<const double> power, const SpectrumShape& shape,
                                                    double bins, double reach);

/// Whether a line belongs to the mains and not to a test: 45 to 65 Hz or its multiples, unless it is strong
/// (-40 dBFS or more; from 130 Hz on any level) and its comb neighbours lie more than 40 dB lower.
[[nodiscard]] bool is_mains_hum(const SpectralPeak& peak, std::span<const double> power,
                                const SpectrumShape& shape);
/// Whether a frequency is a television line rate (15 625 or 15 734.27 Hz, 0.1 % allowed).
[[nodiscard]] bool is_line_rate(double hz);

/// Consecutive segments in which one tone holds its level.
struct ToneRun {
  std::size_t segments = 0;
  std::size_t first_start = 0;  ///< sample index
  std::size_t last_start = 0;
  double bins = 0;             ///< frequency by the phases of neighbouring segments, bins
  double sum_mean_square = 0;  ///< of the tone, noise included
  double sum_level2 = 0;       ///< of mean_square squared
  std::vector<std::complex<double>>
      harmonics;              ///< [k-1]: sum of harmonic k turned back by k times the tone's phase
  std::vector<double> power;  ///< sum of |bin|^2

  /// Least squares over the phases. Residual: mean square in rad^2.
  [[nodiscard]] double fitted_bins(const SpectrumShape& shape) const;
  [[nodiscard]] double phase_residual() const;

  // State of the phase fit: phase less that of `reference`, over the segment number.
  double reference = 0;
  double phase = 0;              // last, as measured
  double deviation = 0;          // last, unwrapped, less the reference's
  double magnitude = 0;          // last
  double noise = 0;              // last, per bin beside the tone
  double sum_bins = 0;           // of single-segment frequencies
  std::array<double, 3> sums{};  // of deviation, number * deviation, deviation^2
};

/// The tracked tone in one segment.
struct TrackLevel {
  std::size_t start = 0;   ///< first sample's index
  double mean_square = 0;  ///< noise included
};

/// What the tracker found.
struct ToneTrack {
  std::size_t segments = 0;  ///< all that were not digital silence
  std::size_t active = 0;    ///< those within 20 dB of the loudest
  std::size_t tonal = 0;     ///< active or not, where one line that is not hum holds half the power
  double likeness = 1;  ///< how much of its spectrum's shape a segment shares with the next: 1 all, 0 none
  double over_time = 1, over_bins = 1;  ///< Texture of all segments
  std::size_t present = 0;              ///< where the tracked tone stands out
  double bins = 0;                      ///< the tracked tone, 0 if none
  bool steady = false;  ///< run holds its level within 0.3 % from segment to segment; else within 1 dB
  std::optional<ToneRun> run;
  std::vector<TrackLevel> levels;  ///< of the tracked tone, where it stands out
  std::vector<double> power;       ///< sum of |bin|^2 over all segments
};

class ToneTracker {
 public:
  /// @param tone_hz tone that was sent, where known.
  explicit ToneTracker(std::optional<double> tone_hz) : tone_hz_(tone_hz) {}
  void add(const SpectrumShape& shape, const Segment& segment);
  /// A tone is being followed that is too strong to be taken for noise.
  [[nodiscard]] bool on_tone() const;
  /// Moves the result out; the tracker is spent.
  [[nodiscard]] ToneTrack finish();

 private:
  struct Track {
    double bins = 0;
    double energy = 0;
    std::size_t present = 0;
    std::size_t gap = 0;
    std::vector<TrackLevel> levels;
    std::array<ToneRun, 2> current;  // strict, loose
    std::array<ToneRun, 2> best;
  };

  [[nodiscard]] std::optional<SpectralPeak> candidate(const SpectrumShape& shape) const;
  void compare(const SpectrumShape& shape, const Segment& segment);
  void follow(const SpectrumShape& shape, const Segment& segment, const SpectralPeak& peak);
  void extend(ToneRun& run, const SpectrumShape& shape, const Segment& segment, double bins,
              std::complex<double> line);
  void end_run(std::size_t which);
  void end_track();

  std::optional<double> tone_hz_;
  std::vector<double> power_;    // of this segment
  BlockSummary summary_;         // of power_
  std::vector<double> earlier_;  // block sums of a segment before, for the likeness
  std::size_t earlier_start_ = 0;
  double likeness_sum_ = 0;
  std::size_t likenesses_ = 0;
  std::vector<double> all_;
  std::vector<std::size_t> level_counts_ = std::vector<std::size_t>(512);
  std::size_t segments_ = 0;
  std::size_t tonal_ = 0;
  Texture texture_;
  Track track_;
  Track best_;
};

}  // namespace linebench::measure
