#include "calibration_files.hpp"

#include <fmt/format.h>

#include <cctype>
#include <cstdint>
#include <system_error>

namespace linebench::capture {

namespace fs = std::filesystem;

fs::path calibration_file(const fs::path& folder, const std::string& device, long long number) {
  std::uint32_t hash = 2166136261U;  // FNV-1a
  std::string slug;
  for (const char ch : device) {
    const auto c = static_cast<unsigned char>(ch);
    hash = (hash ^ c) * 16777619U;
    if (std::isalnum(c) != 0) {
      slug += static_cast<char>(std::tolower(c));
    } else if (!slug.empty() && slug.back() != '-') {
      slug += '-';
    }
  }
  return folder / fmt::format("{}-{:08x}-{}.json", slug.substr(0, 60), hash, number);
}

std::vector<fs::path> calibration_files(const fs::path& folder) {
  std::vector<fs::path> list;
  std::error_code ec;
  for (const auto& entry : fs::directory_iterator(folder, ec)) {
    if (entry.path().extension() == ".json") list.push_back(entry.path());
  }
  std::sort(list.begin(), list.end());
  return list;
}

Error unusable_calibration(const fs::path& path, const std::string& why) {
  return unusable(
      fmt::format("calibration {} cannot be used: {}; delete it and calibrate again", path.string(), why));
}

}  // namespace linebench::capture
