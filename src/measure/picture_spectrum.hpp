// For a page: what the row means hold over line time, as a spectrum. No reading rests on it.
#pragma once

#include <complex>

#include "picture_view.hpp"

namespace linebench::measure {

class PictureSpectrum final : public FrameMeter {
 public:
  explicit PictureSpectrum(const PictureSetup& setup) : setup_(setup) {}
  /// Takes the first two seconds.
  void push(const PictureView& view) override;
  /// Amplitudes from 5 to 310 Hz. What stands still in the picture is taken out: of a test picture its lines'
  /// mean level, of others every row's own mean, so that there multiples of the frame rate are gone too.
  void finish(PictureTraces& traces) const;

 private:
  struct Point {
    double t, codes;
    int group, band;
  };
  [[nodiscard]] std::complex<double> component(const std::vector<double>& weighed, double hz) const;

  const PictureSetup& setup_;
  std::vector<Point> points_;
};

}  // namespace linebench::measure
