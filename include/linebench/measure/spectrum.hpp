// A channel cut into overlapping windowed segments and transformed: what tone, distortion and noise are read
// from.
#pragma once

#include <complex>
#include <cstddef>
#include <functional>
#include <linebench/dsp/fft.hpp>
#include <linebench/dsp/window.hpp>
#include <memory>
#include <span>
#include <vector>

namespace linebench::measure {

/// What segments are seen through: its side lobes lie below any converter's noise.
inline constexpr dsp::Window segment_window = dsp::Window::BlackmanHarris7;
/// Of n samples, scaled as SpectrumShape says.
[[nodiscard]] std::vector<double> segment_weights(std::size_t n);

/// What the segments of one channel look like. Spectra are scaled so that the sum of |bin|^2 over the bins
/// 0..n/2 is the segment's mean square (full scale = 1).
struct SpectrumShape {
  /// Wants n >= 16 samples a segment, 0 < hop <= n.
  SpectrumShape(double rate_hz, std::size_t n, std::size_t hop);

  double rate_hz;
  std::size_t n;
  std::size_t hop;
  double bin_hz;
  double line_bins;     ///< equivalent noise bandwidth of the window, bins
  double energy_share;  ///< how much of a segment's length counts towards averaging noise power

  /// Independent looks that `segments` overlapping segments give: at a line's amplitude, and at noise power.
  [[nodiscard]] double looks_at_line(std::size_t segments) const;
  [[nodiscard]] double looks_at_power(std::size_t segments) const;

  /// Variance of the slope of a straight line fitted to one phase per segment, per unit of phase variance,
  /// phase in radians over segments.
  [[nodiscard]] double slope_variance(std::size_t segments) const;

  /// Window's response at a distance from a line, 1 at 0. |bins| <= 0.5 is quick.
  [[nodiscard]] double gain(double bins) const;

  /// The line's part, complex (square of its magnitude = mean square, phase at the segment's middle), read
  /// from the bin nearest to it. `bins` is where the line is.
  [[nodiscard]] std::complex<double> line(std::span<const std::complex<double>> spectrum, double bins) const;
  /// Power of unit noise (1 per bin) in that estimate.
  [[nodiscard]] double line_noise(double bins) const;

 private:
  std::vector<double> line_overlap_;   // correlation of segments' noise at one frequency, by lag
  std::vector<double> power_overlap_;  // correlation of segments' noise powers, by lag
  std::vector<double> near_gain_;      // gain() at 0..0.5 bins
};

struct Segment {
  std::span<const std::complex<double>> spectrum;  ///< bins 0..n/2
  std::size_t start = 0;                           ///< first sample's index in the channel
};

/// Cuts, windows and transforms a channel as it streams in. It holds back the first seconds: the segment's
/// length is chosen by how long the capture is and how low its strongest part lies.
class Segmenter {
 public:
  using Each = std::function<void(const SpectrumShape&, const Segment&)>;

  explicit Segmenter(double rate_hz);
  void push(std::span<const float> samples, const Each& each);
  /// Ends the stream: works off what is held back.
  void finish(const Each& each);
  /// Null until the shape is chosen.
  [[nodiscard]] const SpectrumShape* shape() const { return shape_.get(); }

 private:
  void choose();
  [[nodiscard]] double strongest_hz() const;
  void work(const Each& each);

  double rate_hz_;
  double dc_ = 0;
  std::vector<float> held_;
  std::size_t held_start_ = 0;  // index in the channel of held_[0]
  std::unique_ptr<SpectrumShape> shape_;
  std::unique_ptr<dsp::RealFft> fft_;
  std::vector<double> window_;
};

}  // namespace linebench::measure
