// A file of a grabber's frames from a closed form.
#pragma once

#include <cmath>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <string>

namespace frames_file {

/// Grey with hum of 4 % of white peak to peak, packed YUYV with the sidecar of the contract.
inline void write(const std::filesystem::path& file, int frames) {
  std::ofstream out(file, std::ios::binary);
  std::string row(2 * 720, '\x80');
  for (int n = 0; n < frames; ++n) {
    for (int r = 0; r < 576; ++r) {
      const double t = n / 25.0 + (r % 2) * 0.02 + (r / 2) * 64e-6;
      for (int x = 0; x < 720; ++x) {
        const double dither = ((x * 7 + r * 13 + n * 29) % 16) / 16.0 - 0.5;
        const double v = 100 + 219 * 0.02 * std::sin(2 * std::numbers::pi * 50.2 * t) + dither;
        row[static_cast<std::size_t>(2 * x)] = static_cast<char>(std::lround(v));
      }
      out.write(row.data(), static_cast<std::streamsize>(row.size()));
    }
  }
  std::filesystem::path side = file;
  std::ofstream(side.replace_extension(".json"))
      << R"({"width":720,"height":576,"format":"yuyv","standard":"625","field_order":"top","frame_rate":25})";
}

}  // namespace frames_file
