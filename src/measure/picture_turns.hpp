// A turning phase at the times of fields.
#pragma once

#include <cmath>
#include <complex>
#include <linebench/dsp/complex_product.hpp>
#include <numbers>

namespace linebench::measure {

/// exp(i 2 pi hz t) for times asked one after another. Fields follow each other by one of two steps; such a
/// step is turned by a product, and every 64th is reckoned anew so that nothing adds up.
class Turns {
 public:
  explicit Turns(double hz) : hz_(hz) {}
  [[nodiscard]] std::complex<double> at(double t) {
    const double dt = t - t_;
    t_ = t;
    if (++since_ % 64 != 0) {
      for (const Step& s : steps_)
        if (std::abs(dt - s.dt) < 1e-11) return turn_ = dsp::product(turn_, s.turn);
    }
    steps_[0] = steps_[1];
    steps_[1] = {dt, phase(dt)};
    return turn_ = phase(t);
  }

 private:
  struct Step {
    double dt = -1;  // no field comes before the one asked last
    std::complex<double> turn{};
  };
  [[nodiscard]] std::complex<double> phase(double t) const {
    return std::polar(1.0, 2 * std::numbers::pi * std::fmod(hz_ * t, 1.0));
  }
  double hz_;
  double t_ = 0;
  unsigned since_ = 0;
  std::complex<double> turn_{1, 0};
  Step steps_[2];
};

}  // namespace linebench::measure
