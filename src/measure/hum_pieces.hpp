// Parts of a stretch in which the hum holds its level and phase: it may be switched on, off or over.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace linebench::measure {

/// Frames [from, to); frames near an inner border see both sides and are to be kept out (`first`, `last`).
struct Piece {
  std::size_t from = 0;
  std::size_t to = 0;
  std::size_t first = 0;  ///< first frame wholly inside
  std::size_t last = 0;   ///< one past the last frame wholly inside
};

/// One harmonic, running sums over the frames: [m] is that of all before m.
struct PieceSums {
  std::vector<std::complex<double>> value;  ///< weight x frame turned back by the harmonic
  std::vector<double> weight;               ///< weight x how far frames depend on each other
};

/// Frames at which level or phase may change, 0 and `frames` included: the fewest that explain the harmonics.
[[nodiscard]] std::vector<std::size_t> find_borders(std::span<const PieceSums> harmonics, std::size_t frames);

[[nodiscard]] std::vector<Piece> make_pieces(std::span<const std::size_t> borders);

/// Whether a border that was found stands when its evidence, summed over harmonics by `evidence_of_change`,
/// is taken with the variance seen within the pieces.
[[nodiscard]] bool stands(double evidence);
/// @param gain -ln of the chance that one harmonic differs by so much. What chance explains counts nothing.
[[nodiscard]] double evidence_of_change(double gain);

}  // namespace linebench::measure
