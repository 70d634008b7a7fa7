// Where a line stands still: stretches of one level, with or without chroma on it, but with the same all
// along.
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

/// Finds flat stretches by means over four subcarrier cycles, and by how much moves within them, so that
/// chroma that comes or goes on one level is an edge too. Their steps are held against what such figures
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
  /// Figures along a line, or averaged over lines, and the steps usual between them.
  struct Row {
    std::vector<float> at;
    float usual_step = 0;  // median step between neighbours, followed slowly
    bool any = false;
    float near = 0;     // the last few figures
    float allowed = 0;  // by which one may leave them
    [[nodiscard]] bool leaves(std::size_t k) const;
    void follow(std::size_t k, bool anew);
  };
  void allow_steps(Row& row);

  float least_step_mv_;
  Row level_;
  Row level_of_lines_;
  Row activity_;
  Row activity_of_lines_;
  std::vector<float> steps_;
  std::vector<FlatRun> runs_;
};

}  // namespace linebench::measure
