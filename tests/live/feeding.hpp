// Streams for the live meters, fed block by block, with the moment each reading was there.
#pragma once

#include <functional>
#include <linebench/live/audio_meter.hpp>
#include <optional>
#include <string>
#include <vector>

#include "support/synth.hpp"

namespace feeding {

using namespace linebench;

inline CaptureFacts facts(double rate, int channels) {
  CaptureFacts f;
  f.source = "fed";
  f.kind = "audio file";
  f.sample_rate_hz = rate;
  f.channels = channels;
  return f;
}

/// Feeds planar channels in blocks; `each` is called with every new view.
inline void feed(live::AudioMeter& meter, const std::vector<synth::Samples>& channels, std::size_t block,
                 const std::function<void(const live::AudioView&)>& each) {
  const std::size_t n = channels.size();
  std::vector<float> x;
  for (std::size_t at = 0; at < channels.front().size(); at += block) {
    x.clear();
    for (std::size_t i = at; i < std::min(at + block, channels.front().size()); ++i)
      for (std::size_t c = 0; c < n; ++c) x.push_back(channels[c][i]);
    if (meter.push(x)) each(meter.view());
  }
}

inline std::optional<double> value(const Readings& readings, const std::string& id) {
  const Reading* r = find_reading(readings, id);
  if (r == nullptr || !r->measured()) return std::nullopt;
  return r->number();
}

}  // namespace feeding
