// Reflections on the path: delay, level, sign, distance.
#pragma once

#include <functional>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

#include "video_echo_fit.hpp"
#include "video_picture.hpp"
#include "video_stack.hpp"

namespace linebench::measure {

/// video.echo.delay, .level, .distance, .polarity of the strongest, video.echo.N.* of each. From the mean of
/// picture lines, whose sync tip and porches show echoes up to some 4 us, and of the empty lines of field
/// blanking, which show them up to 30 us. Where those leave it open what follows the edges so closely, the
/// parts beside a 2T pulse are asked as well: it is over sooner than an edge.
class EchoMeter : public LineMeter {
 public:
  EchoMeter(const VideoSetup& setup, const PictureMeter& picture, double velocity_factor);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

  /// The mean lines; `mean` says of which part of the data.
  [[nodiscard]] std::vector<EchoLine> lines(const VideoSetup& setup,
                                            const std::function<Trace(const LineStack&)>& mean) const {
    return lines(setup, mean, std::nullopt);
  }
  /// Echoes found, strongest first; valid after finish().
  [[nodiscard]] const std::vector<Echo>& found() const { return found_; }

 private:
  /// Where nothing but the echoes of a pulse can be, us from 0H.
  struct BesidePulse {
    double before_from = 0, before_to = 0, after_from = 0, after_to = 0;
    [[nodiscard]] bool has(double us) const {
      return (us > before_from && us < before_to) || (us > after_from && us < after_to);
    }
  };
  struct Looked {
    std::vector<Echo> echoes;
    EchoBound bound;
    EchoSearch search;
    std::vector<double> delay_u;  // ns
    std::vector<double> ratio_u;
    std::vector<bool> sure;
    double loss_db = 0;  // at 5 MHz, of what lies behind the edges
    [[nodiscard]] bool open() const { return !echoes.empty() && !sure.front(); }
  };
  [[nodiscard]] std::vector<EchoLine> lines(const VideoSetup& setup,
                                            const std::function<Trace(const LineStack&)>& mean,
                                            const std::optional<BesidePulse>& pulse) const;
  [[nodiscard]] std::optional<BesidePulse> beside_pulse() const;
  [[nodiscard]] Looked look(const VideoSetup& setup, const std::optional<BesidePulse>& pulse) const;
  /// Why echoes as near as the edge is long are none, by the burst that they would leave; empty: they may be.
  [[nodiscard]] std::string against(const Looked& l, const VideoSetup& setup, const Readings& out) const;
  void tell(const Looked& l, Readings& out) const;

  const PictureMeter& picture_shown_;
  double velocity_factor_;
  double active_from_us_;
  double front_porch_us_;
  double line_us_;
  std::size_t points_;
  std::vector<bool> empty_;    // lines of field blanking
  std::vector<bool> picture_;  // lines whole picture
  LineStack picture_lines_;
  LineStack empty_lines_;
  std::vector<Echo> found_;
};

}  // namespace linebench::measure
