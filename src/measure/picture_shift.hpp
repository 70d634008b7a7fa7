// How far a row is moved sideways from a reference line.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure {

struct RowShift {
  double px = 0;        ///< +: right
  double variance = 0;  ///< of px by unit noise: multiply by the noise's mean square
  double rest = 0;      ///< mean square of what the line moved leaves of the row
  bool valid = false;
  bool sure = false;  ///< what is left shows that it is this line and no other
};

/// A reference line with itself moved by parts of a pixel, ready to be compared.
class ShiftReference {
 public:
  /// @param line luma; columns first .. last-1 are compared, of a row moved by up to reach px.
  /// @param line_noise rms of what is random in the line: it looks like edges and is taken out of their
  /// energy.
  ShiftReference(std::span<const double> line, int first, int last, int reach, double line_noise);
  /// There are edges enough to see a shift by: noise of this rms moves it less than half a px.
  [[nodiscard]] bool usable(double noise, double least_energy = 300) const;
  /// Of the slope: the inverse of the variance that unit noise gives the shift.
  [[nodiscard]] double energy() const {
    return planes_.empty() ? 0.0 : static_cast<double>(planes_[0].energy);
  }
  /// Least-squares shift, a constant level between the two left free.
  /// @param codes luma of the whole row
  /// @param far look all over the reach where the row is not found nearby, which takes long
  [[nodiscard]] RowShift find(const std::uint8_t* codes, double noise, bool far = true) const;
  /// Variance that a tone of unit amplitude in any phase gives the shift.
  [[nodiscard]] double by_tone(double radians_per_px) const;
  /// What the edges of a row disagree by about its shift: variance of the shift that comes of it, noise's
  /// share included. Of edges that stand apart from each other, three or more. @param px as found
  [[nodiscard]] std::optional<double> disagreement(const std::uint8_t* codes, double px) const;

 private:
  struct Plane {
    std::vector<float> value, slope;  // slope less its mean over the compared columns
    float energy = 0;                 // of the slope, what is random in the line taken out
    float seen = 0;                   // with it
  };
  // The line moved right, on the columns that are compared.
  struct Moved {
    const float *value, *slope;
    float energy;
    int whole;  // px of it
  };
  [[nodiscard]] Moved moved(int eighths) const;
  struct Match {
    double step = 0;    // further shift by the slope
    double rest = 0;    // squares left after it
    double before = 0;  // squares before it
  };
  struct Edge {
    int from, to;  // columns, counted from first
  };
  void find_edges();
  // Of a row's columns first .. last-1.
  [[nodiscard]] Match match(std::span<const float> row, int eighths) const;
  [[nodiscard]] int coarse(std::span<const float> row) const;
  bool without_specks(std::span<float> row, int eighths, double noise) const;

  static constexpr int parts = 8;
  int first_, last_, reach_;
  std::vector<Edge> edges_;
  std::vector<Plane>
      planes_;  // shifts -reach .. reach in eighths: plane p is the line moved by p/8, whole px by offset
};

}  // namespace linebench::measure
