// What is known about a video grabber: what it does by itself to a right signal through a short cable.
#pragma once

#include <filesystem>
#include <linebench/base/reading.hpp>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::capture {

/// A value and its expanded uncertainty (k = 2).
struct Known {
  double value = 0;
  double u = 0;
};

/// One input of one grabber at one line standard. Parts that were not measured are empty.
struct GrabberCalibration {
  std::string device;  ///< "V4L2: NAME, input INPUT", as captures carry it
  int lines = 625;     ///< 525 or 625
  std::string at;      ///< when, ISO 8601 UTC

  struct Gain {
    double white = 1;  ///< white of the pattern, share of nominal
    Known percent;     ///< luminance gain, 100 = nominal
  };
  std::vector<Gain> gain;             ///< by white, one for each pattern that was shown
  std::optional<Known> saturation;    ///< ratio
  std::optional<Known> hue_deg;       ///< turn
  std::optional<double> noise_codes;  ///< rms
  std::optional<double> hum_percent;  ///< of white peak to peak; what it has, or what it has at most
  std::optional<Curve> response;      ///< multiburst, dB over Hz
  /// Share of a change of the whole signal (a pad, in dB) that the gain control makes up for: 1 where gain
  /// follows sync, 0 where it is fixed.
  std::optional<Known> follows;

  /// "V4L2: NAME, input INPUT, 625 lines, 2026-11-25".
  [[nodiscard]] std::string name() const;
};

/// Stores it under store_dir()/grabbers, replacing the one of this device and standard. @return the file.
/// Throws Error(Unusable) where it cannot be stored.
std::filesystem::path store_grabber(const GrabberCalibration& calibration);

/// The one of this device and standard; nothing when there is none. Throws Error(Unusable) when its file is
/// damaged or of a newer version (file named).
[[nodiscard]] std::optional<GrabberCalibration> find_grabber(const std::string& device, int lines);

struct GrabberList {
  std::vector<GrabberCalibration> calibrations;
  std::vector<std::string> problems;  ///< one line for each file that cannot be used
};
[[nodiscard]] GrabberList list_grabbers();  ///< all that are stored

/// Forgets those whose device is or begins with this. @return how many there were.
int remove_grabbers(const std::string& device);

/// As it stands on disk and in the program's JSON.
[[nodiscard]] nlohmann::json grabber_to_json(const GrabberCalibration& calibration);

}  // namespace linebench::capture
