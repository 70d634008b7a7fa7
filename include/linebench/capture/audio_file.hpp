// Audio files in and out, on libsndfile, with the facts of a capture beside them.
#pragma once

#include <cstdint>
#include <filesystem>
#include <linebench/base/audio_source.hpp>
#include <linebench/base/facts.hpp>
#include <memory>
#include <span>
#include <vector>

namespace linebench::capture {

/// Sample rates a capture may have, Hz. Beyond these a header is broken or the file is not line-level audio.
inline constexpr double lowest_rate_hz = 8000;
inline constexpr double highest_rate_hz = 768000;

/// Throws Error(Unusable), one line, for a path that is not there, a folder, a device or pipe, or empty.
void refuse_unreadable_path(const std::filesystem::path& path);

/// Opens a WAV, RF64, W64, AIFF or FLAC file (or any other that libsndfile reads) as a stream.
/// Integer samples are scaled by 2^-(bits-1), so that full scale is +-1.0 and a file written by
/// AudioFileWriter comes back exactly. Facts: source (file name), kind, format in words, rate, channels,
/// frames, and what the sidecar (facts_path) knows if it belongs to this file; a sidecar of another capture
/// is left alone, with a note. A file that ends before its header says so is read as far as it goes:
/// facts.interrupted and a note (of a FLAC file once its end was reached). Throws Error(Unusable), one line,
/// for: no such file, a folder, empty, not audio, no samples in it, a rate outside 8 to 768 kHz. read()
/// throws it for a NaN or infinite sample (time and channel of the first named) and where the data cannot be
/// decoded.
[[nodiscard]] std::unique_ptr<AudioSource> open_audio_file(const std::filesystem::path& path);

/// Where the facts of a capture are kept: `NAME.facts.json` beside `NAME.wav`.
[[nodiscard]] std::filesystem::path facts_path(const std::filesystem::path& audio_path);

/// How samples are stored.
enum class SampleFormat { Pcm16, Pcm24, Pcm32, Float32, Float64 };

/// The format for a number of bits (16, 24, 32: integer). Throws Error(Usage) for others.
[[nodiscard]] SampleFormat pcm_format(int bits);

/// Writes samples to a file as they come, in constant memory. The container follows the name: .wav (turns
/// itself into RF64 beyond 4 GB), .rf64, .w64, .aiff/.aif, .flac (16 or 24 bit). The header is brought up to
/// date twenty times a second of signal, so that what was written before a crash can be read. Integer
/// formats round to nearest and stop at full scale; no dither is added, so that a device's own bits pass
/// unchanged.
class AudioFileWriter {
 public:
  /// Replaces a file of that name, and removes a sidecar left by it. One program at a time: a file that is
  /// being written is refused.
  /// Throws Error(Usage) for a name or format it cannot write, Error(Unusable) where the file cannot be made.
  AudioFileWriter(std::filesystem::path path, double sample_rate_hz, int channels, SampleFormat format);
  ~AudioFileWriter();
  AudioFileWriter(const AudioFileWriter&) = delete;
  AudioFileWriter& operator=(const AudioFileWriter&) = delete;

  /// Stores what is known of the capture beside the file before it is complete, marked as interrupted: that
  /// is what stays when the program is killed or the power goes. finish() replaces it. Throws Error(Unusable)
  /// where there is no room for it; the file is gone then.
  void begin(CaptureFacts facts);

  /// Appends whole frames. Throws Error(Unusable) when they cannot all be stored (disk full, disk pulled);
  /// what was written before stays, and finish() still works.
  void write(std::span<const float> interleaved);

  /// Frames stored so far.
  [[nodiscard]] std::uint64_t frames() const noexcept { return frames_; }
  [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
  /// "WAV, 24 bit".
  [[nodiscard]] std::string format_words() const;

  /// Closes the file and stores the facts beside it (atomically). source, kind, format, rate, channels and
  /// frames are filled in here. Returns the facts as stored. Throws Error(Unusable) where the sidecar cannot
  /// be stored (the audio file is complete then all the same).
  CaptureFacts finish(CaptureFacts facts);

  /// Closes and removes the file and what begin() left beside it.
  void discard() noexcept;

  /// Closes the file without a sidecar (a signal file has no history). Does nothing when closed already.
  void close() noexcept;

 private:
  struct Handle;
  void fill(CaptureFacts& facts) const;
  std::filesystem::path path_;
  std::unique_ptr<Handle> handle_;
  double rate_hz_;
  int channels_;
  SampleFormat format_;
  std::uint64_t frames_ = 0;
  std::uint64_t header_at_ = 0;
  std::vector<int> scratch_;
};

}  // namespace linebench::capture
