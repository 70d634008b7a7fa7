// Where a line stands still: stretches of one level, with or without chroma on it.
#pragma once

#include <cstddef>
#include <linebench/measure/video_line.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

/// Samples begin..end-1 of LineView::mv.
struct FlatRun {
  std::size_t begin = 0;
  std::size_t end = 0;
};

/// Finds flat stretches by means over four subcarrier cycles, whose steps are held against what such means
/// usually scatter by on this signal; so it needs no idea of the noise and lets noise of any colour pass.
/// Edges hidden by noise show in the means averaged over the lines before.
class FlatFinder {
 public:
  explicit FlatFinder(const VideoSetup& setup);
  /// Runs between from_us and to_us at least `least` samples long, their ends trimmed clear of edges. Valid
  /// until the next call.
  [[nodiscard]] std::span<const FlatRun> find(const LineView& v, double from_us, double to_us,
                                              std::size_t least);

 private:
  std::size_t hop_;           // samples from one mean to the next
  std::vector<float> taper_;  // of a mean: no gain at the subcarrier
  /// Means of a line, or averaged over lines, and the steps usual between them.
  struct Row {
    std::vector<float> mean;
    float usual_step = 0;  // median step between neighbours, followed slowly
    bool any = false;
  };
  float allowed_step(Row& row);

  float least_step_mv_;
  Row line_;
  Row lines_;
  std::vector<float> steps_;
  std::vector<FlatRun> runs_;
};

}  // namespace linebench::measure
