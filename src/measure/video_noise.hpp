// Noise on the picture.
#pragma once

#include <linebench/measure/video_line.hpp>
#include <vector>

#include "video_flat.hpp"
#include "video_noise_lengths.hpp"
#include "video_noise_tone.hpp"
#include "video_picture.hpp"

namespace linebench::measure {

/// video.noise, video.snr.unweighted, video.snr.weighted [J.61], video.noise.periodic.frequency, .level.
/// From flat stretches of picture lines, level, slope and subcarrier taken out of each, so that hum, tilt and
/// colour do not count; from the lines of field blanking where the picture has none.
class NoiseMeter : public LineMeter {
 public:
  /// @param picture knows at the end whether there is a multiburst, whose packets stand as still as a flat
  /// part does; it must outlive this.
  NoiseMeter(const VideoSetup& setup, const PictureMeter& picture);
  void line(const LineView& view) override;
  void finish(const VideoSetup& setup, Readings& out) override;

 private:
  NoiseMeter(const PictureMeter& picture, const VideoSetup& with_subcarrier);
  void blank_line(const LineView& v);
  [[nodiscard]] ToneSearch::Result find_tone(std::span<const FlatSpectrum* const> noise_alone);
  void take(const LineView& v, FlatFinder& finder, NoiseLengths& lengths, bool count, bool tone);
  /// @param blanking_mv2 power of the field blanking's own noise; 0: not known.
  void random_noise(const VideoSetup& setup, const NoiseChoice& c, bool blanking, double blanking_mv2,
                    double tone_mv2, Readings& out) const;

  const PictureMeter& picture_shown_;
  double from_us_;
  double to_us_;
  double band_hz_;
  std::vector<signed char> line_class_;  // by number: 1 picture, 0 field blanking, -1 neither
  FlatFinder picture_finder_;
  FlatFinder blanking_finder_;
  NoiseLengths picture_;
  NoiseLengths blanking_;
  ToneSearch tone_;
  FlatSpectrum blank_line_;
  ToneSearch blanking_tone_;
};

}  // namespace linebench::measure
