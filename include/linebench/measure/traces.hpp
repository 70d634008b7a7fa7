// Curves for a report's plots: spectrum and level over time, gathered beside the measurement in the same
// pass. For looking at, not for judging: readings come from the measurements proper.
#pragma once

#include <linebench/base/audio_source.hpp>
#include <linebench/base/reading.hpp>
#include <memory>
#include <span>
#include <vector>

namespace linebench::measure {

/// What one channel looks like.
struct ChannelTraces {
  Curve
      spectrum;  ///< Hz / dBFS per line: a steady sine stands at its own level [AES17]; at most 1000 points,
                 ///< evenly spread over log frequency; of the lines that share a point the strongest is kept
  Curve level_rms;   ///< s / dBFS: rms of each time column [AES17]; at most 1000 points
  Curve level_peak;  ///< s / dBFS: largest sample magnitude of each column, 1.0 = 0 dBFS
};

/// Lowest level drawn; digital silence stands here.
inline constexpr double trace_floor_dbfs = -150.0;

/// Gathers the traces of a stream in constant memory (about 4 MB a channel at 48 kHz).
/// The spectrum averages up to 32 stretches of 0.5 to 1 s spread evenly over the whole; columns of the
/// level double their width whenever they run out. Line levels are within 0.9 dB of the truth (the window's
/// scallop).
class TraceAnalyser {
 public:
  /// @param rate_hz > 0, @param channels >= 1.
  TraceAnalyser(double rate_hz, int channels);
  ~TraceAnalyser();
  TraceAnalyser(TraceAnalyser&&) noexcept;
  TraceAnalyser& operator=(TraceAnalyser&&) noexcept;

  /// @param interleaved samples, a multiple of the channel count.
  void push(std::span<const float> interleaved);
  /// One entry a channel. Curves are empty where nothing was pushed.
  [[nodiscard]] std::vector<ChannelTraces> finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// A source that shows everything read from it to an analyser on the way.
class TracingSource : public AudioSource {
 public:
  /// Both must outlive this.
  TracingSource(AudioSource& inner, TraceAnalyser& analyser) : inner_(inner), analyser_(analyser) {}
  [[nodiscard]] const CaptureFacts& facts() const override { return inner_.facts(); }
  std::size_t read(std::span<float> interleaved) override;

 private:
  AudioSource& inner_;
  TraceAnalyser& analyser_;
};

}  // namespace linebench::measure
