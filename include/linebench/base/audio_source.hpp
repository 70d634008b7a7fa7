// Where audio samples come from, as measurements see it: a file, a device's recording, memory.
#pragma once

#include <cstddef>
#include <linebench/base/facts.hpp>
#include <memory>
#include <span>

namespace linebench {

/// A stream of interleaved samples, full scale = +-1.0.
class AudioSource {
 public:
  AudioSource() = default;
  AudioSource(const AudioSource&) = delete;
  AudioSource& operator=(const AudioSource&) = delete;
  virtual ~AudioSource() = default;

  /// What is known about it. `frames` is the whole length where that is known, else 0.
  [[nodiscard]] virtual const CaptureFacts& facts() const = 0;

  /// Fills `interleaved` (a multiple of the channel count) as far as there is data.
  /// @return frames (samples per channel) read; 0 at the end, and only there.
  /// Throws Error(Unusable) when the source breaks, or holds a sample that is NaN or infinite (its time
  /// named).
  virtual std::size_t read(std::span<float> interleaved) = 0;
};

}  // namespace linebench
