// Things that happen at a moment: clipped tops, clicks, dropouts, each with its time.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <linebench/base/reading.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace linebench::measure {

struct Event {
  double time_s = 0;
  double strength = 0;  ///< clip: samples in the flat top; click: peak out of its surroundings (of full
                        ///< scale); dropout: length in s
};

/// At most this many times are kept per kind; counts go on.
inline constexpr std::size_t most_events_kept = 1000;
/// What is too short for the surroundings of an event to be known.
inline constexpr double shortest_events_s = 0.05;

struct EventsResult {
  double seconds = 0;
  std::uint64_t clipped_samples = 0;
  double clip_level = 0;       ///< sample magnitude the tops are cut at
  double clip_level_u = 0;     ///< k=1
  double clip_coupled_hz = 0;  ///< corner of the coupling that tops were cut before; 0: none
  std::vector<Event> clips;
  std::uint64_t clicks = 0;
  std::vector<Event> click_times;
  std::uint64_t dropouts = 0;
  std::vector<Event> dropout_times;
  std::optional<double> gone_from_s;  ///< when what was sent went away for good
  std::uint64_t keyed_pauses = 0;     ///< of a tone keyed on a cadence: no dropouts
  std::uint64_t doubtful_pauses = 0;  ///< of a tone away for much of the time on no cadence: either
};

/// Streaming, one channel, memory independent of length.
/// - Clipped: at least three neighbouring samples that are flat while the waveform runs into them and out of
/// them
///   steeply (a smooth crest of any frequency is not), at a level that nothing but stray peaks exceeds, at
///   full scale or below. Where there are none, the same is looked for in the mean of neighbouring samples,
///   as the low pass of a converter ripples tops that were cut before it; then with a high pass of 2 to 26 Hz
///   undone: tops that were cut before a coupling capacitor lean.
/// - Click: an impulse under 3 ms whose linear-prediction error stands out eight times of the local (median)
/// scale and
///   three times of everything else within 20 ms, without a lasting change of level (so not the start of a
///   sound).
/// - Dropout: 2 ms to 2 s in which a steady signal falls by 30 dB within a millisecond and returns as
/// suddenly at its former level; or as long in which any sound that had lasted 20 ms breaks off by 30 dB
/// with an edge (a step, a bend, or a linear prediction that fails) and sets in with one, or in which the
/// samples stand still. Pauses and stops of speech have no edges. About nine in ten random cuts of a voice to
/// digital zero, eight in ten of those to a floor of -40 dB, are found; one that ends in a pause is not told
/// from an end. The pauses of a tone that is keyed (call tones, dialling, identification tones) are none.
class EventsAnalyser {
 public:
  /// @param steady_tone_sent whether every pause is a dropout, on whatever cadence.
  explicit EventsAnalyser(double rate_hz, bool steady_tone_sent = false);
  ~EventsAnalyser();
  EventsAnalyser(EventsAnalyser&&) noexcept;
  EventsAnalyser& operator=(EventsAnalyser&&) noexcept;
  EventsAnalyser(const EventsAnalyser&) = delete;
  EventsAnalyser& operator=(const EventsAnalyser&) = delete;

  void push(std::span<const float> channel_samples);
  [[nodiscard]] EventsResult finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// audio.clip.samples, .level, .times, audio.click.count, .times, audio.dropout.count, .times with the suffix
/// appended; level and times only where something was found.
[[nodiscard]] Readings to_readings(const EventsResult& result, std::string_view suffix);

}  // namespace linebench::measure
