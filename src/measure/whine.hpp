// A steady line that sounds on under speech and programme: a supply's or clock's whine, another path's tone.
#pragma once

#include <cstdint>
#include <linebench/base/reading.hpp>
#include <linebench/dsp/fft.hpp>
#include <linebench/measure/hum.hpp>
#include <linebench/measure/spectrum.hpp>
#include <linebench/measure/tone_track.hpp>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct WhineResult {
  bool looked = false;  ///< three seconds or more were
  bool found = false;
  double frequency_hz = 0;
  double frequency_u = 0;  ///< expanded (k=2)
  double power = 0;        ///< mean square
  double level_u_db = 0;   ///< expanded (k=2)
  double wander_hz = 0;    ///< how far it goes to either side
  double least_power = 0;  ///< a line of more than this would have been found
};

/// Looks through stretches of some seconds for lines that are there in nearly every segment, at one level
/// wherever speech or programme leaves them alone; steady ones, and such as wander by up to a hundred hertz,
/// as switching supplies do with load and warmth (common practice). Memory does not grow with length.
class WhineSearch {
 public:
  explicit WhineSearch(double rate_hz);
  void push(std::span<const float> channel_samples);
  /// @param hum of the same channel: its multiples are no whine.
  /// @param tone_hz one that was sent, or is followed: nor are its.
  [[nodiscard]] WhineResult finish(const HumResult& hum, std::optional<double> tone_hz);

 private:
  struct Line {
    double bins = 0;
    double power = 0;
    double u_db = 0;
    double wander = 0;  // bins to either side
  };
  struct Track {
    std::size_t stretches = 0;
    double wander = 0;
    double bins = 0, power = 0, bins2 = 0, db = 0, db2 = 0, variance = 0;  // sums
  };
  void process();
  /// @param least power of its bin
  [[nodiscard]] std::optional<Line> line_at(std::size_t bin, double least) const;
  [[nodiscard]] double beside(std::size_t segment, std::size_t bin) const;
  // One that goes to and fro within a band of bins from `first` on.
  [[nodiscard]] std::optional<Line> wandering_at(std::size_t first, double least) const;
  // Adds those to the lines. @return power of what could be there all the same
  [[nodiscard]] double find_wandering(std::size_t from, std::size_t to, std::vector<Line>& lines) const;
  void note(const Line& line);

  SpectrumShape shape_;
  dsp::RealFft fft_;
  std::vector<double> window_;
  std::vector<float> held_;
  std::size_t bins_;
  std::vector<std::uint16_t> codes_;  // of |bin|^2 by segment, in steps of an eighth of an octave
  std::size_t segments_ = 0;          // of the stretch
  std::size_t stretches_ = 0;
  double least_power_ = 0;
  std::vector<Track> tracks_;
};

/// audio.whine.frequency and .level. @param instead why it is not told here; empty: it is.
[[nodiscard]] Readings to_readings(const WhineResult& result, const std::string& instead,
                                   std::string_view suffix);

}  // namespace linebench::measure
