// Calibrations on disk, of sound cards and of grabbers: one JSON file for each device and way of working.
#pragma once

#include <algorithm>
#include <filesystem>
#include <linebench/base/error.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

namespace linebench::capture {

/// The file of a device in a folder: readable, and different for devices whose names differ only in signs a
/// file name cannot hold. @param number the rate or the lines that the calibration holds for.
[[nodiscard]] std::filesystem::path calibration_file(const std::filesystem::path& folder,
                                                     const std::string& device, long long number);

/// The JSON files of a folder, by name; none where there is no folder.
[[nodiscard]] std::vector<std::filesystem::path> calibration_files(const std::filesystem::path& folder);

/// What to say of a calibration that cannot be used, and what to do (exit 3).
[[nodiscard]] Error unusable_calibration(const std::filesystem::path& path, const std::string& why);

/// Reads one. @param from_json makes it of the document; throws Error, or json's own exceptions where the
/// document is damaged. Throws Error(Unusable) naming the file.
template <typename FromJson>
[[nodiscard]] auto load_calibration(const std::filesystem::path& path, const FromJson& from_json) {
  std::string why = "it is damaged";
  try {
    return from_json(nlohmann::json::parse(load_text(path)));
  } catch (const nlohmann::json::exception&) {  // "it is damaged" says enough
  } catch (const Error& e) {
    why = e.what();
  }
  throw unusable_calibration(path, why);
}

/// Reads all of a folder; one that cannot be used is named in `list.problems` and the others are kept.
template <typename List, typename FromJson>
[[nodiscard]] List load_calibrations(const std::filesystem::path& folder, const FromJson& from_json) {
  List list;
  for (const std::filesystem::path& path : calibration_files(folder)) {
    try {
      list.calibrations.push_back(load_calibration(path, from_json));
    } catch (const Error& e) {
      list.problems.emplace_back(e.what());
    }
  }
  return list;
}

}  // namespace linebench::capture
