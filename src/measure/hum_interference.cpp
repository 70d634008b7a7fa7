#include <complex>
#include <linebench/measure/interference.hpp>

#include "hum_core.hpp"
#include "hum_frames.hpp"

namespace linebench::measure {

struct InterferenceAnalyser::Impl {
  Impl(double rate_hz, const HumOptions& options)
      : frames(rate_hz),
        grid{frames.hop_s(), frames.bin_hz(), frames.bins(), frames.top_hz(), frames.first_centre_s()},
        hum(grid, options),
        whistle(rate_hz),
        events(rate_hz, options.tone_hz.has_value()) {}
  LowBandFrames frames;
  FrameGrid grid;
  HumCore hum;
  WhistleAnalyser whistle;
  EventsAnalyser events;
};

InterferenceAnalyser::InterferenceAnalyser(double rate_hz, const HumOptions& options)
    : impl_(std::make_unique<Impl>(rate_hz, options)) {}
InterferenceAnalyser::~InterferenceAnalyser() = default;
InterferenceAnalyser::InterferenceAnalyser(InterferenceAnalyser&&) noexcept = default;
InterferenceAnalyser& InterferenceAnalyser::operator=(InterferenceAnalyser&&) noexcept = default;

void InterferenceAnalyser::push(std::span<const float> channel_samples) {
  Impl& m = *impl_;
  m.frames.push(channel_samples, [&m](std::span<const std::complex<float>> f) { m.hum.frame(f); });
  m.whistle.push(channel_samples);
  m.events.push(channel_samples);
}

InterferenceResult InterferenceAnalyser::finish() {
  Impl& m = *impl_;
  return {m.hum.finish(), m.whistle.finish(), m.hum.phone().finish(), m.events.finish()};
}

Readings to_readings(const InterferenceResult& result, std::string_view suffix) {
  Readings all = to_readings(result.hum, suffix);
  for (const Readings& part : {to_readings(result.whistle, suffix), to_readings(result.phone_burst, suffix),
                               to_readings(result.events, suffix)}) {
    all.insert(all.end(), part.begin(), part.end());
  }
  return all;
}

}  // namespace linebench::measure
