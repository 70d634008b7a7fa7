// Hum on the blanking level, and the blanking level itself.
#pragma once

#include <array>
#include <linebench/measure/video_line.hpp>
#include <optional>
#include <vector>

namespace linebench::measure {

/// Multiples of the mains that are fitted.
constexpr int hum_multiples = 6;

/// video.hum.level, .harmonic.N, .frequency, video.blanking.level: a joint least-squares fit of mains
/// harmonics, a slow drift, what a coupling capacitor lets the picture do to blanking and, where they can be
/// told apart, harmonics of the field rate to the blanking level of every line before clamping. In stretches
/// of about 4 s that are put together, so memory does not grow.
class VideoHumMeter : public LineMeter {
 public:
  VideoHumMeter(const VideoSetup& setup, std::optional<double> mains_hz, double clock_error_ppm);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

  struct Point {
    double t = 0;  ///< s
    double mv = 0;
    double drive = 0;  ///< mV s: what a coupling capacitor has been charged with until then
  };
  struct Fit {
    bool found = false;
    double hz = 0;
    double hz_u = 0;  ///< k=1
    double pp_mv = 0;
    double pp_u = 0;  ///< k=1
    double level_mv = 0;
    double level_u = 0;      ///< k=1
    double least_pp_mv = 0;  ///< hum below this would not have been found
    double tilt_pp_mv = 0;   ///< of the tilt by coupling that was taken out
    double seconds = 0;
    bool near_field_rate = false;
    std::array<double, hum_multiples> pp_of{}, pp_of_u{};  ///< mV of each multiple, k=1
  };

 private:
  void close_slot();
  void close_stretch();
  double field_hz_;
  double low_hz_;
  double high_hz_;
  double clock_;
  double slot_s_ = 0;
  double slot_t_ = 0;
  double slot_mv_ = 0;
  double slot_drive_ = 0;
  double charge_ = 0;  // mV s, of the picture re its blanking
  int slot_n_ = 0;
  std::uint64_t slot_index_ = 0;
  std::vector<Point> points_;
  std::vector<Fit> fits_;
};

/// The fit to one stretch. @param slot_s time each point is a mean over (its droop is taken out).
[[nodiscard]] VideoHumMeter::Fit fit_hum(const std::vector<VideoHumMeter::Point>& points, double slot_s,
                                         double low_hz, double high_hz, double field_hz);

}  // namespace linebench::measure
