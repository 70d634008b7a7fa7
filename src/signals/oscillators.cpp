#include "oscillators.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <linebench/dsp/complex_product.hpp>
#include <numbers>

namespace linebench::signals {

void add_oscillators(std::span<const Oscillator> bank, double rate_hz, std::uint64_t first,
                     std::span<double> out) {
  // A turning phasor costs a tenth of a sine; taken up anew from the exact phase every few samples, its
  // rounding never grows beyond 1e-14.
  constexpr std::size_t stretch = 128;
  for (const Oscillator& o : bank) {
    const double step = o.hz / rate_hz;
    const std::complex<double> turn = std::polar(1.0, 2 * std::numbers::pi * step);
    for (std::size_t begin = 0; begin < out.size(); begin += stretch) {
      double turns = step * static_cast<double>(first + begin) + o.phase_turns;
      turns -= std::floor(turns);
      std::complex<double> z = std::polar(o.amplitude, 2 * std::numbers::pi * turns);
      const std::size_t end = std::min(begin + stretch, out.size());
      for (std::size_t i = begin; i < end; ++i) {
        out[i] += z.imag();
        z = dsp::product(z, turn);
      }
    }
  }
}

}  // namespace linebench::signals
