// The composite receiver: finds the signal in the samples, locks to it, and hands out its lines.
#pragma once

#include <linebench/base/progress.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/measure/video.hpp>
#include <linebench/measure/video_line.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::measure {

/// Locks to a composite signal and streams its lines to meters.
///
/// Robust at 20 dB SNR, 0.3 to 3 times nominal level, any dc offset, hum larger than sync, missing syncs, a
/// line rate off by up to 1 %, any sample rate from 2 MS/s up (colour needs the subcarrier below half the
/// rate), either polarity. Memory: the first 120 ms are kept to find the signal, then about two lines.
class VideoReceiver {
 public:
  VideoReceiver(capture::VideoSource& source, const VideoOptions& options);
  ~VideoReceiver();

  /// Reads as far as needed to find the signal. False: no composite signal; reason() says what was seen
  /// instead.
  bool acquire();
  [[nodiscard]] const std::string& reason() const;
  /// What was found; valid after acquire() returned true, and completed by run().
  [[nodiscard]] const VideoSetup& setup() const;
  /// Streams every line, from the first sample, to all meters. Call once, after acquire().
  void run(std::span<LineMeter* const> meters, const Progress& progress = {}, const StopFlag* stop = nullptr);

  /// Counts of the run, for readings and remarks.
  struct Counts {
    std::uint64_t samples = 0;
    std::uint64_t lines = 0;
    std::uint64_t missing = 0;  ///< lines whose sync was not found
    std::uint64_t relocks = 0;  ///< times the lock was lost and found again elsewhere
    std::uint64_t clipped = 0;  ///< samples stuck at the converter's ends
    double highest_v = 0;
    double lowest_v = 0;
    std::uint64_t at_highest = 0;  ///< samples that stand exactly there
    std::uint64_t at_lowest = 0;
  };
  [[nodiscard]] const Counts& counts() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

}  // namespace linebench::measure
