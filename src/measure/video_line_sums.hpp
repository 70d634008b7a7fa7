// The mean of many lines of the same content, with luminance and chrominance told apart by the subcarrier's
// phase from line to line, not by filters: the phase at 0H differs, the content does not.
#pragma once

#include <array>
#include <complex>
#include <linebench/measure/video_line.hpp>
#include <span>
#include <vector>

#include "video_stack.hpp"
#include "video_statistics.hpp"

namespace linebench::measure {

/// One line, averaged. Times are us from 0H, levels mV re blanking.
struct AveragedLine {
  double from_us = 0;
  double step_us = 1;
  double lines = 0;          ///< number averaged
  std::vector<double> luma;  ///< whole bandwidth; holds chrominance still when !separated
  bool separated = false;    ///< phases allowed to take chrominance out of `luma`
  double subcarrier_us = 0;  ///< one cycle; 0 without colour
  /// U + jV at baseband, mV peak, as it stands on lines with V as is [0] and V reversed [1] (not undone).
  /// Not filtered: an image at twice the subcarrier and, when !separated, luminance at minus the subcarrier
  /// are in it; chroma() and smooth_chroma() take them out. Empty when there were no such lines.
  std::array<std::vector<std::complex<double>>, 2> chroma_raw;
  std::array<double, 2> chroma_lines{0, 0};
  /// Lines by how far past a sample their grid began, in sixteenths: what interpolation costs near half the
  /// rate hangs on it.
  std::array<double, 16> fractions{};

  double smear_us = 0;  ///< rms by which lines were misplaced when they were added; taken out of `luma`

  /// Amplitude left of a wave of this frequency, 1 = all: what interpolation took.
  [[nodiscard]] double response(double hz) const;
  /// Share of a wave of this frequency that misplaced lines had cancelled, before it was put right.
  [[nodiscard]] double smeared(double hz) const;
  [[nodiscard]] double end_us() const { return from_us + step_us * static_cast<double>(luma.size() - 1); }
  /// Mean luminance over a stretch under a sin^2 taper. NaN where not covered.
  [[nodiscard]] double level(double from, double to) const;
  /// Mean chrominance vector over a stretch of 4 cycles or more, sin^2 taper. 0 without colour.
  [[nodiscard]] std::complex<double> chroma(int v, double from, double to) const;
  /// Amplitude over both kinds of line, mV peak, interpolation's loss made good.
  [[nodiscard]] double chroma_mv(double from, double to) const;
  /// V switch undone, both kinds of line together.
  [[nodiscard]] std::complex<double> chroma_undone(double from, double to) const;
  /// Luminance and chrominance through one and the same low-pass filter (sin^2 kernel, 2 cycles at half
  /// height, a zero at the subcarrier and at twice that), so that their shapes can be compared.
  [[nodiscard]] std::vector<double> smooth_luma() const;
  [[nodiscard]] std::vector<std::complex<double>> smooth_chroma(int v) const;
  [[nodiscard]] Trace trace() const;
};

/// Sums over lines in 16 groups, so that any reading gets an uncertainty by leaving out one group at a time.
class LineSums {
 public:
  static constexpr double from_us = -2.0;
  static constexpr double beyond_us = 0.8;  ///< after the next 0H
  explicit LineSums(const VideoSetup& setup);
  /// The line's samples on the common grid (see grid()).
  void add(std::span<const float> x, const LineView& v);
  /// To be called after the last add(). @param smear_us rms by which the lines' 0H was wrong, by noise.
  void flush(double smear_us);
  [[nodiscard]] double lines() const { return total_; }
  [[nodiscard]] std::size_t points() const { return points_; }
  [[nodiscard]] double step_us() const { return step_us_; }
  [[nodiscard]] AveragedLine average() const { return average(line_groups); }
  /// All but one group.
  [[nodiscard]] AveragedLine average(std::size_t without) const;
  [[nodiscard]] bool has_group(std::size_t g) const { return groups_[g].lines[0] + groups_[g].lines[1] > 0; }

 private:
  static constexpr std::size_t arrays = 5;    // x; x cos and x sin of the phase on lines of either V
  static constexpr std::size_t moments = 13;  // of the regressors, see gram()
  struct Group {
    std::array<std::vector<double>, arrays> sum;
    std::array<double, moments> moment{};
    std::array<double, 2> lines{0, 0};
    std::array<double, 16> fractions{};
  };
  [[nodiscard]] std::size_t next_group() const;
  void put_away();

  bool colour_;
  double subcarrier_us_;
  std::size_t points_;
  double step_us_;
  double total_ = 0;
  double smear_us_ = 0;
  std::array<Group, line_groups> groups_;
  std::array<std::vector<float>, arrays> fresh_;
  std::array<bool, 2> fresh_v_{false, false};
  std::size_t fresh_lines_ = 0;
  std::size_t fresh_group_ = 0;
};

}  // namespace linebench::measure
