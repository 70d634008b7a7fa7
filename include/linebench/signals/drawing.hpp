// A drawing of lines and words in pixels, for a PNG.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <vector>

namespace linebench::signals {

using Colour = std::array<std::uint8_t, 3>;  ///< red, green, blue

struct DrawnLine {
  std::vector<std::array<double, 2>> points;  ///< x, y from the top left
  Colour colour{};
  int width = 1;
};

struct DrawnText {
  enum class Anchor { Left, Middle, Right };
  double x = 0;
  double y = 0;  ///< of the baseline
  std::string text{};
  int size = 14;  ///< height of capitals and descenders, pixels
  Colour colour{};
  Anchor anchor = Anchor::Left;
};

struct Drawing {
  int width = 0;
  int height = 0;
  Colour ground{255, 255, 255};
  std::vector<DrawnLine> lines{};
  std::vector<DrawnText> texts{};
};

}  // namespace linebench::signals
