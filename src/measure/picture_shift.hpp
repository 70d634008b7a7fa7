// How far a row is moved sideways from a reference line.
#pragma once

#include <cstdint>
#include <span>
#include <vector>

namespace linebench::measure {

struct RowShift {
  double px = 0;        ///< +: right
  double variance = 0;  ///< of px by unit noise: multiply by the noise's mean square
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
  /// @param far look all over the reach where the row is not found nearby, which takes long
  [[nodiscard]] RowShift find(const std::uint8_t* row, double noise, bool far = true) const;

 private:
  struct Plane {
    std::vector<float> value, slope;  // slope less its mean over the compared columns
    float energy = 0;                 // of the slope, what is random in the line taken out
    float seen = 0;                   // with it
  };
  struct Match {
    double step = 0;    // further shift by the slope
    double rest = 0;    // squares left after it
    double before = 0;  // squares before it
  };
  [[nodiscard]] Match match(const std::uint8_t* row, int eighths) const;
  [[nodiscard]] int coarse(const std::uint8_t* row) const;

  static constexpr int parts = 8;
  int first_, last_, reach_;
  std::vector<Plane>
      planes_;  // shifts -reach .. reach in eighths: plane p is the line moved by p/8, whole px by offset
};

}  // namespace linebench::measure
