// The demo site: an invented ferry terminal and the faults of its audio paths, as a described scene, and the
// physics that turns the scene into captures. Nothing here is used outside the demo.
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::signals {

struct HumLine {
  int harmonic;
  double dbfs;
};

/// One path of the site: what is sent, what the path does to it, what gets in on the way.
struct DemoPath {
  std::string file;    ///< file name in captures/
  std::string title;   ///< a person's name for the path
  std::string story;   ///< what was done to take it, one sentence
  std::string limits;  ///< the set it is judged by
  std::string signal;  ///< what was being sent, for the facts; may be empty
  double rate_hz = 16000;
  double seconds = 8;
  int channels = 1;
  std::optional<double> full_scale_v{};  ///< for the facts

  std::optional<double> tone_hz{};          ///< sent tone ...
  double tone_dbfs = -18;                   ///< ... as it arrives, dBFS (rms, AES17)
  std::optional<double> speech_dbfs{};      ///< vowel-like speech of that rms level
  std::optional<double> chime_dbfs{};       ///< three-note chime of that first peak level, again every 3 s
  std::optional<double> pair_noise_dbfs{};  ///< the same band noise on both sides
  bool right_reversed = false;

  double mains_hz = 50;
  double mains_wander_hz = 0;  ///< peak of a slow swing round mains_hz
  std::vector<HumLine> hum{};
  double noise_dbfs = -84;
  std::optional<double> whistle_dbfs{};  ///< 15 625 Hz of a 625-line camera
  std::optional<double> phone_dbfs{};    ///< peak of a mobile phone's bursts, for the middle half of the time
  std::optional<double>
      overload_dbfs{};                ///< level at which a stage bends the wave (smoothly, one side first)
  std::optional<double> rail_dbfs{};  ///< level at which tops are cut flat
  std::vector<double>
      contact_lost_s{};  ///< a connector opens here for some tens of ms, with a tick on return
  std::uint64_t seed = 1;
};

/// Title of the site, and its paths: three ticket counters, five vehicle lanes, the passenger-information
/// feed.
inline constexpr const char* demo_site_title = "Ferry terminal";
[[nodiscard]] std::vector<DemoPath> ferry_terminal();

/// The capture of a path: interleaved samples, full scale +-1. The same samples on every run.
[[nodiscard]] std::vector<float> render(const DemoPath& path);

}  // namespace linebench::signals
