// Tearing: a step sideways between the lines above a place of a field and those below it.
#pragma once

#include <cstdint>
#include <linebench/base/reading.hpp>
#include <optional>
#include <span>
#include <vector>

namespace linebench::measure {

class TearFinder {
 public:
  explicit TearFinder(int fields) : fields_(fields) {}

  /// @param shift of each row of a frame, px; not a number: not known
  /// @return the same with what is torn put back: jitter and bends are told from these
  std::vector<double> push(std::span<const double> shift);
  /// @param frames of the capture, for the remark
  [[nodiscard]] Reading reading(std::uint64_t frames) const;
  /// First row beside a tear, the uppermost of all; nothing where tears are seldom.
  [[nodiscard]] std::optional<int> standing_at() const;
  /// What putting back adds to the square of the lines' movement: a step's size is known no better.
  [[nodiscard]] double put_back_variance() const;

 private:
  struct Known {
    int line;
    double px;
  };
  struct Step {
    int row = 0;          ///< below it
    double chances = 0;   ///< times what chance makes
    double px = 0;        ///< +: to the right below it
    double by_slope = 0;  ///< of the lines on either side carried on to the place between them
    double plain = 0;     ///< of the two sides' means
    double close = 0;     ///< of the three lines nearest on either side: what is torn may soon be straight
    double middle = 0;    ///< between the medians of those
    bool sloped = false;  ///< lines enough for the first two
  };
  [[nodiscard]] std::vector<Step> steps_of(std::span<const double> shift) const;
  void steps_of(const std::vector<Known>& lines, int field, std::vector<Step>& out) const;
  static double middle_of(const std::vector<Known>& lines, std::size_t from, std::size_t to);
  static void weigh(std::vector<Step>& steps, double rms, double close_rms);

  int fields_;
  std::uint64_t frames_ = 0, torn_ = 0;
  int torn_row_ = 0;
  double largest_ = 0, sizes_ = 0, squares_ = 0;  // px
  double torn_rms_ = 0, all_rms_ = 0;             // what the step is by chance, sums over the frames
  double put_back_ = 0;                           // variances
};

}  // namespace linebench::measure
