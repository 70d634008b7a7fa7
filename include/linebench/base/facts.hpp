// What is known about a capture beside its samples. Every reading's report names these.
#pragma once

#include <cstdint>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench {

struct CaptureFacts {
  std::string source;         ///< file name or device name, as a person would say it
  std::string kind;           ///< "audio file", "sound device", "composite samples", "frames"
  std::string format;         ///< e.g. "WAV, 24 bit"
  std::string device;         ///< host API + device name, when it came from one
  double sample_rate_hz = 0;  ///< nominal
  int channels = 0;
  std::uint64_t frames = 0;               ///< samples per channel
  std::optional<double> clock_error_ppm;  ///< of the recorder, from a calibration (+: recorder's clock fast)
  std::optional<double> clock_uncertainty_ppm;  ///< of that error, expanded (k=2)
  std::string calibration;                      ///< name and date of the calibration applied; empty: none
  std::optional<double> full_scale_v;           ///< volts that a sample value of 1.0 stands for (peak)
  std::uint64_t xruns = 0;                      ///< overruns and underruns while it was taken
  std::uint64_t dropped = 0;                    ///< samples or frames lost
  bool interrupted = false;                     ///< ended before its time (Ctrl-C, device lost, disk full)
  std::string taken_at;                         ///< ISO 8601 UTC, empty if unknown
  std::string signal;                           ///< recipe that was being sent, empty if unknown
  std::vector<std::string> notes;               ///< anything else a person should know, one sentence each

  [[nodiscard]] double duration_s() const {
    return sample_rate_hz > 0 ? static_cast<double>(frames) / sample_rate_hz : 0;
  }
  /// Samples are missing or doubled somewhere, so readings over time are in doubt.
  [[nodiscard]] bool tainted() const { return xruns > 0 || dropped > 0; }
};

/// Facts as they stand under "input" in the JSON document and in a capture's sidecar. Unknown values are left
/// out.
[[nodiscard]] nlohmann::json facts_to_json(const CaptureFacts& facts);
/// The reverse; unknown keys are ignored, wrong types throw Error(Unusable) naming the key.
[[nodiscard]] CaptureFacts facts_from_json(const nlohmann::json& j);

}  // namespace linebench
