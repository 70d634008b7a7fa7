// Tone, distortion and noise of one channel in one pass.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/interference.hpp>
#include <linebench/measure/levels.hpp>
#include <linebench/measure/spectrum.hpp>
#include <linebench/measure/tone_track.hpp>
#include <linebench/measure/weighting.hpp>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct ToneNoiseOptions {
  std::optional<double> tone_hz;          ///< the tone that was sent, where known
  std::optional<double> clock_error_ppm;  ///< of the recorder (+: fast)
  std::optional<double> step;  ///< between neighbouring sample values, where they are whole numbers
  bool band_filled = false;    ///< the signal that was sent is noise-like and hides the path's own noise
};

struct ToneNoiseResult {
  Readings readings;
  /// Where a steady tone is most of the signal: what that says about the level's uncertainty (k=2, relative,
  /// of the mean square) and about the dc's (k=2, fraction of full scale): partial periods at the ends.
  std::optional<double> level_rel_u;
  std::optional<double> dc_u;
  std::optional<double> tone_hz;  ///< of the steady tone that is there
  bool programme = false;         ///< what plays is neither noise nor a steady tone
  std::vector<double> average;    ///< |bin|^2 averaged over the channel; empty where there was only silence
  std::optional<SpectrumShape> shape;  ///< of that
};

/// Streaming; memory is bounded. Wants rates of 8 kHz and more.
class ToneNoiseAnalyser {
 public:
  ToneNoiseAnalyser(double rate_hz, const ToneNoiseOptions& options);
  void push(std::span<const float> samples);
  /// audio.tone.*, audio.thd, audio.thd_n, audio.snr, audio.imd.*, audio.noise.*
  /// @param level of the same channel: tells stationary noise from programme.
  /// @param disturbed what was found to disturb the same channel: unless a tone is known to have been sent,
  /// its lines are not taken for one.
  [[nodiscard]] ToneNoiseResult finish(const LevelResult& level, std::string_view suffix,
                                       const InterferenceResult* disturbed = nullptr);

 private:
  double rate_hz_;
  ToneNoiseOptions options_;
  Segmenter segmenter_;
  ToneTracker tracker_;
  QuasiPeakMeter quasi_peak_;
  bool quasi_peak_paused_ = false;
};

}  // namespace linebench::measure
