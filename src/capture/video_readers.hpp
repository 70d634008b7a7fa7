// The readers behind open_video_samples, one a format.
#pragma once

#include <filesystem>
#include <linebench/capture/video_samples.hpp>
#include <memory>
#include <optional>
#include <string>

namespace linebench::capture {

/// What a sidecar says; absent keys are absent.
struct VideoSidecar {
  std::string path;
  std::optional<double> sample_rate_hz;
  std::optional<std::string> unit;
  std::optional<std::string> format;
  std::optional<double> scale;
  std::optional<double> offset;
  CaptureFacts facts;  ///< anything else it knows
};
/// nullopt when there is none. Throws Error(Unusable) when it is not right.
[[nodiscard]] std::optional<VideoSidecar> read_video_sidecar(const std::filesystem::path& samples);
/// The sidecar that belongs to a samples file: NAME.json beside NAME.raw, or NAME.raw.json.
[[nodiscard]] std::filesystem::path video_sidecar_path(const std::filesystem::path& samples);

[[nodiscard]] std::unique_ptr<VideoSource> open_raw_video(const std::filesystem::path& file);
[[nodiscard]] std::unique_ptr<VideoSource> open_wav_video(const std::filesystem::path& file,
                                                          const VideoFileOptions& options);
[[nodiscard]] std::unique_ptr<VideoSource> open_csv_video(const std::filesystem::path& file);

/// Throws Error(Unusable) unless samples stay apart and finite in volts with this scale (volts per count) and
/// offset. @param most largest count.
void check_volts(const std::string& source, double scale, double offset, double most);

/// Throws Error(Unusable) unless it can be a rate for composite samples.
void check_video_rate(const std::string& source, double rate_hz, const std::string& where);

}  // namespace linebench::capture
