// Composite samples into files: WAV, raw samples with a sidecar, oscilloscope-style CSV.
#pragma once

#include <cstdint>
#include <filesystem>
#include <linebench/base/progress.hpp>
#include <linebench/signals/video_encoder.hpp>
#include <string>

namespace linebench::signals {

/// How raw samples are stored. WAV is always 16 bit.
enum class RawFormat { S16, F32, U8 };
/// "s16le", "f32le", "u8"; throws Error(Usage) for others.
[[nodiscard]] RawFormat raw_format(const std::string& name);

struct CompositeFile {
  std::uint64_t samples = 0;
  double sample_rate_hz = 0;
  double full_scale_v =
      0;  ///< volts that +-1.0 (WAV, s16le, u8) stands for; 0 where samples are volts as they are
  std::string format{};  ///< in words
  bool interrupted = false;
};

/// Writes `samples` samples by the name's ending (.wav, .raw, .csv), in constant memory, under a temporary
/// name that takes its place when complete. WAV and raw get a sidecar NAME.json: {"sample_rate": Hz, "unit":
/// "V", "format", "scale": volts per count (raw) or per full scale (WAV), "offset": volts at count 0,
/// "system", "picture", "bandwidth": Hz}. WAV headers hold whole rates only; the sidecar has the exact one.
/// Stops early when `stop` is set; what is written by then is kept, whole.
/// Throws Error(Usage) for another ending, Error(Unusable) where the file cannot be written.
CompositeFile write_composite(const std::filesystem::path& file, CompositeEncoder& encoder,
                              std::uint64_t samples, RawFormat raw, const Progress& progress = {},
                              const StopFlag* stop = nullptr);

/// Frames as packed Y0 Cb Y1 Cr bytes with a sidecar NAME.json beside NAME.yuv: {"width", "height", "format":
/// "yuyv", "standard": "525"|"625", "field_order": "top"|"bottom", "frame_rate"}.
std::int64_t write_yuv(const std::filesystem::path& file, const TestPicture& picture,
                       const standards::VideoStandard& standard, int height, std::int64_t frames,
                       const StopFlag* stop = nullptr);

}  // namespace linebench::signals
