// Mains hum: frequency, level, harmonics and kind, under silence, tone, speech or programme.
#pragma once

#include <complex>
#include <cstddef>
#include <linebench/base/reading.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct HumOptions {
  std::optional<double> mains_hz;    ///< look only within 6 % of this; otherwise 45 to 65 Hz
  std::optional<double> tone_hz;     ///< a tone that was sent: neither it nor its harmonics are taken for hum
  std::vector<double> sent_hz = {};  ///< tones of a signal that was sent, themselves never taken for hum
};

enum class HumKind {
  None,
  Fundamental,  ///< the fundamental holds most of it: magnetic coupling or earth-loop current
  Ripple,       ///< even multiples hold most of it: full-wave rectifier ripple at twice the mains
  Buzz,  ///< several harmonics from the fourth up, odd ones too, heard above the rest: rectifier pulses,
         ///< dimmers
  Mixed,
};
[[nodiscard]] std::string_view to_string(HumKind kind);  ///< as in audio.hum.kind

struct HumHarmonic {
  std::size_t number = 1;
  double power = 0;       ///< mean square
  double standard_u = 0;  ///< of the mean square, k=1
};

/// A time from the start of the channel.
struct HumTime {
  double from_s = 0;
  double to_s = 0;
};

/// Harmonics above those that were fitted, read from an averaged spectrum.
struct HumBeyond {
  double power = 0;       ///< mean square
  double standard_u = 0;  ///< of the mean square, k=1
  std::size_t last = 0;   ///< the highest that stands out
};

/// A comb that is not the one reported.
struct OtherComb {
  double hz = 0;
  double power = 0;  ///< mean square, over the time it was seen
};

struct HumResult {
  double seconds = 0;      ///< of the channel that was used
  bool too_short = false;  ///< under shortest_hum_s
  bool found = false;
  double frequency_hz = 0;
  double frequency_u = 0;                ///< k=1
  double lowest_hz = 0, highest_hz = 0;  ///< where the mains moved
  double power = 0;                      ///< mean square of all harmonics found, over the whole channel
  double power_u = 0;                    ///< k=1
  double least_power = 0;                ///< anything not found is below this mean square (k=2)
  std::vector<HumTime> present;          ///< when it was there
  double present_s = 0;                  ///< sum of these
  double weakest_power = 0, strongest_power = 0;  ///< mean square, while it was there
  std::optional<OtherComb> second;                ///< another mains comb beside the one reported
  std::optional<OtherComb> supply;                ///< a 400 Hz comb, as of aircraft and ship supplies
  std::optional<OtherComb> denied;   ///< not found: lines that might be hum but make no pattern of it
  std::optional<double> covered_hz;  ///< a sent tone that would hide mains at its frequency
  HumKind kind = HumKind::None;
  std::vector<HumHarmonic> harmonics;     ///< those found
  std::size_t fitted = 0;                 ///< the highest harmonic looked at; `power` ends there
  double unseen_power = 0;                ///< what may lie above, as far as nothing has looked there
  std::optional<HumBeyond> beyond;        ///< what was found to lie above, not in `power`
  std::vector<std::size_t> left_out;      ///< multiples that fall on a tone which is not mains
  std::optional<double> left_out_for_hz;  ///< that tone
  bool left_out_for_phone = false;        ///< some of them fall on lines of a mobile phone's bursts
  std::string doubt{};  ///< not found: a comb was there, and why it may be the programme's own notes
  bool phone = false;   ///< there were such bursts; their lines are not counted as hum
};

/// Less than this shows no hum.
inline constexpr double shortest_hum_s = 0.4;

/// Streaming hum measurement of one channel, memory independent of length. Any rate from 8 kHz up (lower
/// rates see fewer harmonics). A joint least-squares fit of up to 40 mains harmonics (up to about 2.2 kHz),
/// the mains frequency unknown in 45..65 Hz and free to wander, in stretches of ten seconds that are then put
/// together.
class HumAnalyser {
 public:
  HumAnalyser(double rate_hz, const HumOptions& options);
  ~HumAnalyser();
  HumAnalyser(HumAnalyser&&) noexcept;
  HumAnalyser& operator=(HumAnalyser&&) noexcept;
  HumAnalyser(const HumAnalyser&) = delete;
  HumAnalyser& operator=(const HumAnalyser&) = delete;

  void push(std::span<const float> channel_samples);
  [[nodiscard]] HumResult finish();

  /// For an analyser of other combs that shares the short-time spectra; see src/measure/hum_frames.hpp.
  struct Impl;

 private:
  std::unique_ptr<Impl> impl_;
};

/// audio.hum.frequency, .level, .harmonic.N, .kind with the suffix (".left", "" ...) appended.
/// @param clock_error_ppm recorder's clock error to take out of the frequency.
[[nodiscard]] Readings to_readings(const HumResult& result, std::string_view suffix);

}  // namespace linebench::measure
