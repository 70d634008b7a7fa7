#include <fmt/format.h>

#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/levels.hpp>
#include <vector>

namespace linebench::measure {
namespace {

constexpr std::size_t block_frames = 4096;
constexpr double shortest_s = 0.1;

struct Channel {
  explicit Channel(double rate_hz) : levels(rate_hz), samples(block_frames) {}

  LevelAnalyser levels;
  std::vector<float> samples;
};

void append(Readings& to, Readings&& from) {
  to.insert(to.end(), std::make_move_iterator(from.begin()), std::make_move_iterator(from.end()));
}

// A capture with gaps is still worth reading, but every value from it says so.
void mark_tainted(Readings& readings, const CaptureFacts& facts) {
  if (!facts.tainted()) return;
  const std::string remark =
      fmt::format("the capture has gaps ({} overruns, {} samples lost): take it again to be sure",
                  facts.xruns, facts.dropped);
  for (Reading& r : readings) r.reason += (r.reason.empty() ? "" : "; ") + remark;
}

}  // namespace

Readings measure_audio(AudioSource& source, const AudioOptions& /*options*/, const Progress& progress,
                       const StopFlag* stop) {
  const double rate = source.facts().sample_rate_hz;
  const int count = source.facts().channels;
  const std::string name = source.facts().source;
  if (count < 1 || !(rate > 0)) {
    throw unusable(fmt::format("{}: no channels or no sample rate; give an audio file or device", name));
  }
  std::vector<Channel> channels;
  for (int c = 0; c < count; ++c) channels.emplace_back(rate);

  std::vector<float> interleaved(block_frames * static_cast<std::size_t>(count));
  std::uint64_t frames = 0;
  const std::uint64_t expected = source.facts().frames;
  while (stop == nullptr || !stop->load()) {
    const std::size_t got = source.read(interleaved);
    if (got == 0) break;
    for (std::size_t c = 0; c < channels.size(); ++c) {
      const std::span<float> samples(channels[c].samples.data(), got);
      for (std::size_t i = 0; i < got; ++i) samples[i] = interleaved[i * channels.size() + c];
      channels[c].levels.push(samples);
    }
    frames += got;
    if (progress) {
      const double share = expected > 0 ? static_cast<double>(frames) / static_cast<double>(expected) : -1.0;
      progress(share, "measuring");
    }
  }
  const double seconds = static_cast<double>(frames) / rate;
  if (seconds < shortest_s) {
    throw unusable(fmt::format("{}: {} long, too short to measure; take at least {} s", name,
                               frames == 0 ? "no samples," : fmt::format("{:.3f} s", seconds), shortest_s));
  }

  Readings readings;
  const CaptureFacts& facts = source.facts();
  for (int c = 0; c < count; ++c) {
    const std::string suffix = channel_suffix(c, count);
    append(readings, to_readings(channels[static_cast<std::size_t>(c)].levels.finish(), facts, suffix));
  }
  mark_tainted(readings, facts);
  return readings;
}

}  // namespace linebench::measure
