// All that disturbs one channel from outside, in one pass: mains hum, line whistle, phone bursts, clipping,
// clicks, dropouts. The spectra that hum and phone bursts look at are made once.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/measure/events.hpp>
#include <linebench/measure/hum.hpp>
#include <linebench/measure/phone_burst.hpp>
#include <linebench/measure/whistle.hpp>
#include <memory>
#include <span>
#include <string_view>

namespace linebench::measure {

struct InterferenceResult {
  HumResult hum;
  WhistleResult whistle;
  PhoneBurstResult phone_burst;
  EventsResult events;
};

/// One channel, streaming, memory independent of length.
class InterferenceAnalyser {
 public:
  InterferenceAnalyser(double rate_hz, const HumOptions& options);
  ~InterferenceAnalyser();
  InterferenceAnalyser(InterferenceAnalyser&&) noexcept;
  InterferenceAnalyser& operator=(InterferenceAnalyser&&) noexcept;
  InterferenceAnalyser(const InterferenceAnalyser&) = delete;
  InterferenceAnalyser& operator=(const InterferenceAnalyser&) = delete;

  void push(std::span<const float> channel_samples);
  [[nodiscard]] InterferenceResult finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// All readings of the four parts, with the suffix (".left", "" ...) appended to each id.
[[nodiscard]] Readings to_readings(const InterferenceResult& result, std::string_view suffix);

}  // namespace linebench::measure
