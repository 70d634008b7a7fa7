// Hum bars: row means of each field over line time, gathered in stretches of up to 20 s and fitted.
#pragma once

#include <array>
#include <linebench/base/reading.hpp>
#include <optional>

#include "picture_hum_strips.hpp"
#include "picture_view.hpp"

namespace linebench::measure {

class PictureHumMeter final : public FrameMeter {
 public:
  PictureHumMeter(const PictureSetup& setup, std::optional<double> mains_hz);
  void push(const PictureView& view) override;
  /// @param rolling: the picture moved up or down, so its rows cannot be told from hum.
  /// @param noise of a frame, codes rms (for what rounding leaves).
  void finish(bool rolling, double noise, Readings& out, PictureTraces* traces);

  /// After finish(): hum that differs from part to part of a line, % of white; it bends edges. 0: it does
  /// not.
  [[nodiscard]] double uneven_percent() const { return uneven_percent_; }

 private:
  void choose_blocks();
  void push_means(const PictureView& view);
  void push_difference(const PictureView& view);
  void fit_stretch();
  [[nodiscard]] HumFit fit_by_phase(HumFit fit, const std::array<double, hum_strips>& weight);
  [[nodiscard]] std::string clock_remark() const;
  [[nodiscard]] std::array<double, hum_strips> strip_levels() const;
  void trace(PictureTraces& traces) const;

  const PictureSetup& setup_;
  std::array<FieldShapes, 2> shapes_;
  HumProblem problem_;
  std::vector<StripProfiles> fields_;
  std::vector<HumFit> fits_;
  std::vector<StripView> strips_;                         // of each fit
  std::vector<std::vector<std::uint16_t>> level_blocks_;  // of each band: all bits where a block is level
  std::vector<std::uint16_t> before_;                     // block sums of the frame before
  std::uint64_t seen_ = 0, used_ = 0;                     // fields of a live picture
  double noise_seen_;
  double uneven_percent_ = 0;
  int missing_ = 0, doubled_ = 0, unexplained_ = 0;  // frames by hum's phase; its jumps
  double unsteady_ = 0;                              // of a live picture, see unsteadiness()
  bool held_ = false;                                // all of the picture stands where codes end
};

}  // namespace linebench::measure
