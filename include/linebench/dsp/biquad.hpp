// Second-order sections in cascade, with state, for streaming.
#pragma once

#include <span>
#include <vector>

namespace linebench::dsp {

/// H(z) = (b0 + b1 z^-1 + b2 z^-2) / (1 + a1 z^-1 + a2 z^-2)
struct Section {
  double b0 = 1, b1 = 0, b2 = 0, a1 = 0, a2 = 0;
};

/// A cascade of sections (transposed direct form II, double state).
class Cascade {
 public:
  Cascade() = default;
  explicit Cascade(std::vector<Section> sections)
      : sections_(std::move(sections)), state_(sections_.size()) {}

  [[nodiscard]] double step(double x) noexcept {
    for (std::size_t i = 0; i < sections_.size(); ++i) {
      const Section& s = sections_[i];
      State& z = state_[i];
      const double y = s.b0 * x + z.z1;
      z.z1 = s.b1 * x - s.a1 * y + z.z2;
      z.z2 = s.b2 * x - s.a2 * y;
      x = y;
    }
    return x;
  }
  void process(std::span<double> samples) noexcept {
    for (double& x : samples) x = step(x);
  }
  void reset() noexcept { state_.assign(sections_.size(), {}); }
  [[nodiscard]] std::span<const Section> sections() const noexcept { return sections_; }

  /// |H| at a frequency, given the sample rate.
  [[nodiscard]] double magnitude(double hz, double rate_hz) const;

 private:
  struct State {
    double z1 = 0, z2 = 0;
  };
  std::vector<Section> sections_;
  std::vector<State> state_;
};

/// Butterworth of order n (1..12) as a cascade, bilinear with the corner pre-warped. 0 < corner < rate / 2.
[[nodiscard]] Cascade butterworth_lowpass(int order, double corner_hz, double rate_hz);
[[nodiscard]] Cascade butterworth_highpass(int order, double corner_hz, double rate_hz);

}  // namespace linebench::dsp
