// One harmonic of a comb over the frames of a stretch: its bin, the noise in it, lines beside it.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

#include "hum_chunk.hpp"
#include "hum_path.hpp"
#include "hum_pieces.hpp"

namespace linebench::measure {

class HumTrack {
 public:
  using Complex = std::complex<double>;

  /// What the weighted mean over some frames says.
  struct Mean {
    Complex a;            // amplitude (peak)
    double weight = 0;    // sum of weights
    double model = 0;     // E|error|^2 from the weights
    double variance = 0;  // the same, raised where the parts differ by more
    double spare = 1;     // degrees of freedom behind it
  };

  /// Nothing to be had (outside the band): !usable().
  HumTrack(const HumChunk& chunk, std::size_t k, const PhasePath& path, std::span<const double> foreign);

  [[nodiscard]] bool usable() const { return !y_.empty(); }
  [[nodiscard]] std::size_t k() const { return k_; }

  /// Takes the frames along a changed path.
  void reload(const HumChunk& chunk, const PhasePath& path);
  /// Turns the frames back; `phasors` are those of this harmonic.
  void turn_back(std::span<const Complex> phasors);
  /// Amplitudes of lines beside it (jointly with its own in each piece), taken out; then the noise that is
  /// left. `phasors` as for turn_back.
  void settle(std::span<const Complex> phasors, std::span<const Piece> pieces);
  void take_lines_out(std::span<const Complex> phasors, std::span<const Piece> pieces);
  [[nodiscard]] Mean mean(const Piece& piece) const;
  /// With `variance` and `spare` checked against how the parts of the piece differ.
  [[nodiscard]] Mean checked_mean(const Piece& piece) const;
  [[nodiscard]] PieceSums sums() const;
  /// Energy over noise (as seen beside it) that a constant amplitude explains in a piece, and that it leaves
  /// there; both are 1 on average for noise alone.
  [[nodiscard]] double explained(const Piece& piece) const;
  [[nodiscard]] double left(const Piece& piece) const;
  /// Mean square in the bin beyond the noise beside it, coherent or not, quiet frames counted most.
  [[nodiscard]] double power_beyond_noise() const;

  [[nodiscard]] std::span<const Complex> turned() const { return u_; }
  [[nodiscard]] std::span<const double> weights() const { return weight_; }

  bool active = true;  ///< takes part in finding the path

 private:
  void set_noise(const std::vector<double>& power);
  [[nodiscard]] double independent(const Piece& piece, double weight_sum) const;
  [[nodiscard]] double model_variance(const Piece& piece, double weight_sum, double independent) const;
  [[nodiscard]] double group_variance(const Piece& piece, const Mean& mean, std::size_t groups) const;

  std::size_t k_;
  std::size_t n_;
  double hop_s_, t0_;
  double bin_offset_hz_ = 0;    // bin centre minus harmonic
  std::vector<Complex> y_;      // frames, window gain taken out
  std::vector<Complex> u_;      // turned back
  std::vector<double> beside_;  // noise seen half way to the neighbours; empty where that is not to be had
  std::vector<double> weight_;  // 1 / E|noise|^2 per frame
  std::vector<double> root_;    // its square root
  std::vector<double> undisturbed_;  // the weights before the comb's own residue is counted as noise
  std::vector<double> lines_hz_;
};

}  // namespace linebench::measure
