// Composite samples from a file: raw with its sidecar, WAV, or an oscilloscope's CSV export.
#pragma once

#include <cstddef>
#include <filesystem>
#include <linebench/base/facts.hpp>
#include <memory>
#include <optional>
#include <span>

namespace linebench::capture {

/// A stream of composite samples in volts at the recorder's input.
class VideoSource {
 public:
  VideoSource() = default;
  VideoSource(const VideoSource&) = delete;
  VideoSource& operator=(const VideoSource&) = delete;
  virtual ~VideoSource() = default;

  /// What is known: kind "composite samples", sample rate, frames (0: unknown), full_scale_v where the
  /// converter's rails are known.
  [[nodiscard]] virtual const CaptureFacts& facts() const = 0;

  /// Fills `volts` as far as there is data. @return samples read; 0 at the end, and only there.
  /// Throws Error(Unusable) for what cannot be a sample (NaN, infinite, not a number), its place named.
  virtual std::size_t read(std::span<float> volts) = 0;

  /// The converter's end values in volts, where the format has any: samples stuck there were clipped.
  struct Rails {
    float low = 0;
    float high = 0;
  };
  [[nodiscard]] virtual std::optional<Rails> rails() const { return std::nullopt; }
};

struct VideoFileOptions {
  std::optional<double>
      full_scale_v;  ///< WAV without sidecar: volts (peak) that a sample value of 1.0 stands for
};

/// Opens by the name's ending: .csv/.txt (oscilloscope export: header lines, then time in s and volts; comma,
/// semicolon or tab; decimal comma where the separator is not a comma), .raw/.bin (with NAME.json beside it:
/// {"sample_rate": Hz, "unit": "V", "format": "s16le|f32le|u8", "scale": volts per count, "offset": volts at
/// count 0}), and anything libsndfile reads (WAV, W64, RF64, FLAC; one channel; volts from `full_scale_v`,
/// from a sidecar NAME.json with "scale" in volts per full scale, or from facts written by this program).
/// Throws Error(Unusable) naming the file and what to do: not there, empty, sidecar missing or contradicting,
/// rate absurd.
[[nodiscard]] std::unique_ptr<VideoSource> open_video_samples(const std::filesystem::path& file,
                                                              const VideoFileOptions& options = {});

/// True when `file` looks like composite samples rather than audio, by ending, sidecar or a rate above 1 MHz.
[[nodiscard]] bool looks_like_video_samples(const std::filesystem::path& file);

}  // namespace linebench::capture
