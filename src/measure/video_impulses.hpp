// Sparkle: impulses on the signal, of ignition, dimmers, a bad contact.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <linebench/measure/video_line.hpp>
#include <vector>

namespace linebench::measure {

/// video.impulses, video.impulses.rhythm, video.impulses.time. Looked for where every line is alike whatever
/// the picture: on the sync tip and on the back porch behind the burst, a twelfth of the time. What meets the
/// signal at random meets them as often as the picture, so that the rate is of the whole; it is known as well
/// as the count is [Poisson].
class ImpulseMeter : public LineMeter {
 public:
  explicit ImpulseMeter(const VideoSetup& setup);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  struct Window {
    double from_us = 0, to_us = 0;
    std::deque<double> levels;  // at its beginning, of the lines before, the recorder's mV
  };
  struct Change {
    double mv = 0;
    double time_s = 0;
    bool begins = false;  ///< in the window: it is no end of what was there before
  };
  struct Hit {
    std::uint64_t index = 0;
    Change change;
  };
  [[nodiscard]] static Change largest_in(const LineView& v, Window& w);
  void survey(double height_mv);
  [[nodiscard]] double middle_mv() const;
  [[nodiscard]] std::vector<Hit> impulses(double least_mv) const;
  [[nodiscard]] bool come_again(const std::vector<Hit>& hits) const;

  double gain_;
  std::uint64_t frame_lines_;
  double line_us_ = 0;
  std::array<Window, 2> windows_;
  std::vector<bool> picture_line_;
  std::vector<std::uint32_t> heights_;  // of what changes in a line's windows, histogram
  std::uint64_t lines_ = 0;
  double usual_mv_ = 0;
  std::vector<Hit> hits_;  // what may turn out to be one
};

}  // namespace linebench::measure
