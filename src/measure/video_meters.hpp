// Every measure that runs on the lines of a composite signal, each knowing those it builds on.
#pragma once

#include <array>
#include <linebench/measure/video.hpp>
#include <string_view>

#include "video_burst.hpp"
#include "video_cable.hpp"
#include "video_clip.hpp"
#include "video_echo.hpp"
#include "video_hum.hpp"
#include "video_impulses.hpp"
#include "video_levels.hpp"
#include "video_lost_burst.hpp"
#include "video_noise.hpp"
#include "video_picture.hpp"
#include "video_rate.hpp"
#include "video_samples_check.hpp"
#include "video_steady.hpp"
#include "video_sync.hpp"
#include "video_termination.hpp"

namespace linebench::measure {

struct VideoMeters {
  VideoMeters(const VideoSetup& setup, const VideoOptions& options, double clock_error_ppm)
      : rate(setup.rate_hz, clock_error_ppm),
        sync(setup),
        pulses(setup),
        burst(setup, sync, clock_error_ppm),
        levels(setup),
        clip(setup),
        hum(setup, options.mains_hz, clock_error_ppm),
        picture(setup, sync),
        lost_burst(setup, picture),
        noise(setup, picture),
        impulses(setup),
        echo(setup, picture, options.velocity_factor),
        cable(echo, options.cable),
        steady(setup, burst) {}

  RateMeter rate;
  SyncMeter sync;
  PulseMeter pulses;
  BurstMeter burst;
  LevelMeter levels;
  ClipMeter clip;
  VideoHumMeter hum;
  PictureMeter picture;
  LostBurstMeter lost_burst;
  NoiseMeter noise;
  ImpulseMeter impulses;
  EchoMeter echo;
  CableMeter cable;
  TerminationMeter termination;
  SteadyMeter steady;
  SampleCheck samples;

  struct Named {
    std::string_view name;
    LineMeter* meter;
  };
  /// In the order in which they take a line and finish: a measure comes after those it asks.
  [[nodiscard]] std::array<Named, 16> list() {
    return {{{"line rate, jitter", &rate},
             {"sync, blanking", &sync},
             {"pulses", &pulses},
             {"burst, subcarrier", &burst},
             {"levels", &levels},
             {"cut off", &clip},
             {"hum", &hum},
             {"test pictures", &picture},
             {"colours without burst", &lost_burst},
             {"noise, tones", &noise},
             {"impulses", &impulses},
             {"echoes", &echo},
             {"cable", &cable},
             {"termination", &termination},
             {"steadiness", &steady},
             {"samples", &samples}}};
  }
};

}  // namespace linebench::measure
