// Hum in the lowband view: a mains comb told from the picture's own comb at multiples of half the field rate.
#pragma once

#include <array>
#include <cstdint>
#include <linebench/dsp/decimator.hpp>
#include <span>
#include <vector>

namespace linebench::measure {

struct HumLook;

class LowbandHum {
 public:
  /// Looks for a fundamental between low_hz and high_hz.
  LowbandHum(double rate_hz, double low_hz, double high_hz);

  void push(std::span<const float> mv);
  /// Where the first broad pulse of field `number` began, s; in order, each before the samples 30 ms after
  /// it.
  void field(std::int64_t number, double t_s);

  /// What imperfect removal leaves of the picture looks like a comb beside its own: hum stands so many times
  /// above.
  static constexpr double above_floor = 2.5;
  static constexpr int harmonics = 20;
  /// Standard deviations at which a multiple is one: noise alone, once in a thousand looks at all of them.
  static constexpr double clearly = 4.5;
  static constexpr int searched = 5;  ///< multiples that hum is found by; the others follow from them

  struct Result {
    bool measured = false;  ///< the capture is long enough to look
    bool found = false;
    double hz = 0, hz_expanded = 0;
    double pp = 0, pp_expanded = 0;  ///< mV on the line: the coupling's loss put back
    double least_pp = 0;             ///< hum below this would not have been found
    double seconds = 0;              ///< of one look
    double field_hz = 0;
    double beside_pp = 0;  ///< mV that stand there out of step with the picture, roughly
    double blind_hz = 0;   ///< nearer to the field rate than this nothing can be told from the picture
    std::array<bool, harmonics> hidden{};  ///< on the picture's own comb, so it cannot be told from it
    std::array<double, harmonics> pp_of{},
        pp_of_expanded{};                       ///< mV of each multiple; 0: not found or left out
    std::array<double, harmonics> unseen_pp{};  ///< mV below which one that was looked for is not found
    /// mV that a hidden multiple may have, by those beside it; 0 where nothing bounds it (the fundamental).
    std::array<double, harmonics> hidden_pp{};
    /// Whether what may be hidden is less than what is seen; `pp_expanded` then holds it.
    bool whole = true;
  };
  /// @param coupling sum of the high-pass corners, 1/s.
  [[nodiscard]] Result finish(double coupling);

 private:
  struct Fit {
    double seconds = 0;
    double field_hz = 0;
    bool found = false;
    double hz = 0;
    double hz_u = 0;
    std::array<double, harmonics> c{}, s{}, u{};  // amplitudes, and their standard deviation; u 0: left out
    std::array<double, harmonics> noise{};        // standard deviation of those that are no more than noise
    std::array<bool, harmonics> hidden{};
    double least = 0;
    double beside_pp = 0;  // beside the field rate, neither the picture's nor fitted
    double floor = 0;      // what imperfect removal of the picture may leave, peak to peak
  };
  void close_block();
  [[nodiscard]] Fit look_for_hum(const HumLook& look) const;
  [[nodiscard]] static Result put_together(std::span<const Fit> fits, double coupling);
  [[nodiscard]] static double peak_to_peak(const Fit& f, double coupling, double& variance);

  dsp::Decimator decimator_;
  double low_hz_;
  double high_hz_;
  std::size_t block_;
  std::vector<double> samples_;
  double start_s_ = 0;  // time of samples_[0]
  std::vector<double> field_number_, field_s_;
  std::vector<Fit> fits_;
};

}  // namespace linebench::measure
