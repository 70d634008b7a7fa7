#include <algorithm>
#include <array>
#include <linebench/standards/third_octave.hpp>

namespace linebench::standards {
namespace {

struct Name {
  double hz;
  std::string_view text;
};

// Preferred frequencies [ISO 266], R10 series.
constexpr std::array<Name, 31> names = {
    {{20, "20 Hz"},     {25, "25 Hz"},     {31.5, "31.5 Hz"},  {40, "40 Hz"},       {50, "50 Hz"},
     {63, "63 Hz"},     {80, "80 Hz"},     {100, "100 Hz"},    {125, "125 Hz"},     {160, "160 Hz"},
     {200, "200 Hz"},   {250, "250 Hz"},   {315, "315 Hz"},    {400, "400 Hz"},     {500, "500 Hz"},
     {630, "630 Hz"},   {800, "800 Hz"},   {1000, "1 kHz"},    {1250, "1.25 kHz"},  {1600, "1.6 kHz"},
     {2000, "2 kHz"},   {2500, "2.5 kHz"}, {3150, "3.15 kHz"}, {4000, "4 kHz"},     {5000, "5 kHz"},
     {6300, "6.3 kHz"}, {8000, "8 kHz"},   {10000, "10 kHz"},  {12500, "12.5 kHz"}, {16000, "16 kHz"},
     {20000, "20 kHz"}}};
constexpr int lowest_index = -17;

std::array<ThirdOctave, names.size()> make_bands() {
  std::array<ThirdOctave, names.size()> bands{};
  for (std::size_t i = 0; i < names.size(); ++i) {
    const int index = lowest_index + static_cast<int>(i);
    bands[i] = {index, 1000.0 * std::pow(10.0, index / 10.0), names[i].hz, names[i].text};
  }
  return bands;
}

}  // namespace

std::span<const ThirdOctave> third_octaves() {
  static const auto bands = make_bands();
  return bands;
}

std::span<const ThirdOctave> third_octaves(double lowest_hz, double highest_hz) {
  const auto all = third_octaves();
  const auto first =
      std::ranges::find_if(all, [&](const ThirdOctave& b) { return b.nominal_hz >= lowest_hz; });
  const auto last =
      std::find_if(first, all.end(), [&](const ThirdOctave& b) { return b.nominal_hz > highest_hz; });
  return {first, last};
}

}  // namespace linebench::standards
