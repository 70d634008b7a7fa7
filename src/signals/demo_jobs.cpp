#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/dsp/biquad.hpp>
#include <linebench/signals/audio_signal.hpp>
#include <linebench/signals/demo_jobs.hpp>
#include <linebench/signals/demo_site.hpp>
#include <linebench/signals/recipe.hpp>
#include <numbers>
#include <random>

namespace linebench::signals {
namespace {

// A counter's path with or without the earth loop that its printer closes over the shield.
DemoPath counter(bool loop, std::uint64_t seed) {
  DemoPath p;
  p.rate_hz = 16000;
  p.seconds = 10;
  p.speech_dbfs = -22;
  p.mains_hz = 50.02;
  p.mains_wander_hz = 0.004;
  p.noise_dbfs = -84;
  p.seed = seed;
  p.hum = loop ? std::vector<HumLine>{{1, -36}, {2, -58}, {3, -43}, {5, -48}, {7, -54}, {9, -60}, {11, -64}}
               : std::vector<HumLine>{{1, -88}, {3, -94}};
  return p;
}

// The announcement system's output. @param hot set 10 dB too high and clipped; @param playing programme on
// it.
DemoPath feed(bool hot, bool playing, std::uint64_t seed) {
  DemoPath p;
  p.rate_hz = 48000;
  p.seconds = 6;
  p.channels = 2;
  p.full_scale_v = 17.37;  // 0 dBFS = +24 dBu
  p.noise_dbfs = -88;
  p.hum = {{1, -92}};
  p.seed = seed;
  if (!playing) return p;
  p.speech_dbfs = hot ? -7 : -23;
  p.chime_dbfs = hot ? -4 : -20;
  if (hot) p.rail_dbfs = -0.6;
  return p;
}

struct StationState {
  double overload = 0;  // a driver stage that bends the wave, one side first; 0: sound
  double gain_db = 0;
  double noise_dbfs = -76;
  double coupling_db = 0;  // loudspeaker back into microphone; 0: not this way
};

// A signal through a station: band limits of a speech path, its gain, what its driver does, its noise.
std::vector<float> through_station(const std::string& signal, double rate_hz, const StationState& s,
                                   std::uint64_t seed) {
  AudioSignalOptions options;
  options.sample_rate_hz = rate_hz;
  options.channels = 1;
  const auto sent = make_audio_signal(load_recipe(signal), options);
  constexpr double delay_s = 0.0031;
  std::vector<float> x(static_cast<std::size_t>(delay_s * rate_hz), 0.0F);
  std::vector<float> block(8192);
  for (std::size_t n = sent->read(block); n > 0; n = sent->read(block))
    x.insert(x.end(), block.begin(), block.begin() + static_cast<std::ptrdiff_t>(n));
  dsp::Cascade low = dsp::butterworth_lowpass(2, 6000, rate_hz);
  dsp::Cascade high = dsp::butterworth_highpass(2, 150, rate_hz);
  const double gain = std::pow(10.0, (s.gain_db + s.coupling_db) / 20);
  std::mt19937_64 random(seed);
  std::normal_distribution<double> noise(0.0, rms_from_dbfs(s.noise_dbfs));
  for (float& v : x) {
    double y = gain * static_cast<double>(v);
    if (s.overload > 0) y = std::tanh(s.overload * y + 0.3) / s.overload - std::tanh(0.3) / s.overload;
    v = static_cast<float>(high.step(low.step(y)) + noise(random));
  }
  return x;
}

constexpr const char* site_answers =
    R"toml(# Ticket counter 2 hums. Answers of the job `check site`; captures stand beside this file, named after their step.
"site.name" = "Ferry terminal"
"site.path" = "Ticket counter 2"
"complaint" = "Customers hear a hum behind the clerk's voice since the new ticket printer came"
"site.seen" = "hum"
"site.where" = "one"
"site.parts" = "station, printer's power strip, cable to hub, hub, line to master station"
"site.trial.earth-points" = "one"
"site.trial.isolate-audio" = "gone"
"site.trial.move-cable" = "same"
"site.trial.other-supply" = "same"
"site.cure.1" = "yes"
"site.carries.1" = "yes"
"site.did.1" = "Audio isolation transformer fitted where the printer's strip meets the counter's line"
"checklist.before" = "all"
"checklist.after" = "all"
)toml";

constexpr const char* station_answers =
    R"toml(# A station returned from vehicle lane 3. Answers of the job `check station`.
"station.type" = "lane post"
"station.serial" = "LP-0417"
"complaint" = "Drivers sound harsh, worse when it is warm"
"site.name" = "Ferry terminal"
"station.plan" = "speech-station"
"checklist.before" = "all"
"station.next" = "repair"
"station.repair" = "Output stage replaced (driver chip leaking), supply metered 24.1 V"
"station.next.2" = "done"
"checklist.after" = "all"
)toml";

constexpr const char* feed_answers =
    R"toml(# The passenger-information feed before it is connected. Answers of the job `check feed`.
"feed.name" = "Passenger information"
"site.name" = "Ferry terminal"
"feed.carries" = "audio"
"feed.level" = "professional"
"feed.use" = "mono"
"feed.again" = "yes"
"checklist.after" = "all"
)toml";

}  // namespace

std::vector<DemoJob> demo_jobs() {
  DemoJob site{"site", site_answers, {}};
  for (const char* key : {"site.at.1", "site.at.2", "site.at.3", "site.at.4", "site.at.5", "site.after.1"})
    site.captures.push_back({.file = std::string(key) + ".flac", .signal = {}, .rate_hz = 16000});
  DemoJob station{"station", station_answers, {}};
  for (const auto& [key, signal] :
       std::initializer_list<std::pair<const char*, const char*>>{{"talk", "sweep-speech"},
                                                                  {"listen", "sweep-speech"},
                                                                  {"level", "tone-1k-nominal"},
                                                                  {"quiet", "tone-1k-quiet"},
                                                                  {"noise", "silence"},
                                                                  {"intelligibility", "stipa-nominal"},
                                                                  {"feedback", "sweep-speech"}}) {
    for (const char* round : {"", ".2"})
      station.captures.push_back({.file = std::string("test.") + key + round + ".flac", .signal = signal});
  }
  DemoJob feed{"feed", feed_answers, {}};
  for (const char* key : {"feed.audio", "feed.quiet", "feed.audio.2", "feed.quiet.2"})
    feed.captures.push_back(
        {.file = std::string(key) + ".flac", .signal = {}, .full_scale_v = 17.37, .channels = 2});
  return {site, station, feed};
}

std::vector<float> render(const DemoJob& job, const DemoCapture& c) {
  const bool second = c.file.ends_with(".2.flac");
  const auto seed = static_cast<std::uint64_t>(1 + c.file.size() + (second ? 100 : 0));
  if (job.kind == "site") {
    // The loop comes in at the second part; the transformer takes it away.
    const bool sound = c.file == "site.at.1.flac" || c.file == "site.after.1.flac";
    return render(counter(!sound, seed + static_cast<unsigned char>(c.file[8])));
  }
  if (job.kind == "feed") {
    const std::vector<float> mono = render([&] {
      // The same announcement each time, and another moment's quiet.
      const bool speaks = c.file.starts_with("feed.audio");
      DemoPath p = feed(!second, speaks, speaks || !second ? 9 : 10);
      p.channels = 1;
      return p;
    }());
    std::vector<float> both;
    both.reserve(2 * mono.size());
    for (const float v : mono) both.insert(both.end(), {v, v});
    return both;
  }
  StationState s;
  const bool speaker = c.file.starts_with("test.level") || c.file.starts_with("test.listen");
  if (speaker && !second) s.overload = 9;
  if (c.file.starts_with("test.feedback")) s.coupling_db = -21;
  return through_station(c.signal, c.rate_hz, s, seed);
}

}  // namespace linebench::signals
