// From samples to the fault: captures of simulated installations, measured as a technician's would be. A few,
// for they take their time; the thousands are scored from readings (score.cpp).
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <functional>
#include <linebench/capture/frame_source.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/faultsim/captures.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/lowband.hpp>
#include <linebench/measure/picture.hpp>
#include <linebench/measure/video.hpp>
#include <numbers>

#include "cases.hpp"

namespace {

using namespace linebench;
using namespace faultsim_test;

class AudioMemory final : public AudioSource {
 public:
  AudioMemory(const faultsim::AudioTake& take, const char* name, const char* signal, double full_scale_v)
      : take_(take) {
    facts_.source = name;
    facts_.sample_rate_hz = take.rate_hz;
    facts_.channels = take.channels;
    facts_.frames = take.samples.size() / static_cast<std::size_t>(take.channels);
    facts_.signal = signal;
    facts_.full_scale_v = full_scale_v;
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  std::size_t read(std::span<float> out) override {
    const std::size_t n = std::min(out.size(), take_.samples.size() - at_);
    std::copy_n(take_.samples.begin() + static_cast<std::ptrdiff_t>(at_), n, out.begin());
    at_ += n;
    return n / static_cast<std::size_t>(take_.channels);
  }

 private:
  const faultsim::AudioTake& take_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
};

class VideoMemory final : public capture::VideoSource {
 public:
  explicit VideoMemory(const faultsim::CompositeTake& take) : take_(take) {
    facts_.source = "camera.raw";
    facts_.sample_rate_hz = take.rate_hz;
    facts_.channels = 1;
    facts_.frames = take.volts.size();
    facts_.signal = "video-bars-100";
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  std::size_t read(std::span<float> out) override {
    const std::size_t n = std::min(out.size(), take_.volts.size() - at_);
    std::copy_n(take_.volts.begin() + static_cast<std::ptrdiff_t>(at_), n, out.begin());
    at_ += n;
    return n;
  }

 private:
  const faultsim::CompositeTake& take_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
};

class FrameMemory final : public capture::FrameSource {
 public:
  explicit FrameMemory(const faultsim::PictureTake& take) : take_(take) {
    format_.width = take.width;
    format_.height = take.height;
    format_.lines = take.lines;
    format_.frame_rate_hz = take.frame_rate_hz;
    format_.top_field_first = take.lines == 625;
    format_.counted = true;
    facts_.source = "picture.yuv";
    facts_.sample_rate_hz = take.frame_rate_hz;
    facts_.frames = take.frames.size();
    facts_.signal = "video-bars-100";
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const capture::FrameFormat& format() const override { return format_; }
  bool read(capture::Frame& frame) override {
    if (at_ == take_.frames.size()) return false;
    for (const auto& [place, count] : take_.lost) {
      if (place == at_) lost_ += count;
    }
    capture::unpack_yuyv(take_.frames[at_], take_.width, take_.height, frame);
    frame.number = at_ + lost_;
    frame.corrupt = false;
    ++at_;
    return true;
  }

 private:
  const faultsim::PictureTake& take_;
  capture::FrameFormat format_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
  std::uint64_t lost_ = 0;
};

using Add = std::function<void(std::string name, const CaptureFacts& facts, Readings readings)>;

void measure_audio_of(const faultsim::Installation& site, std::uint64_t seed, const Add& add) {
  const auto lines = faultsim::record_lines(site, seed, 8);
  AudioMemory tone(lines, "lines.wav", "tone-1k", faultsim::full_scale_v * std::numbers::sqrt2);
  measure::AudioOptions sent;
  sent.signal = "tone-1k";
  add("lines.wav", tone.facts(), measure::measure_audio(tone, sent));
  const auto idle = faultsim::record_idle(site, seed, 8);
  AudioMemory silence(idle, "idle.wav", "silence", faultsim::full_scale_v * std::numbers::sqrt2);
  measure::AudioOptions quiet;
  quiet.signal = "silence";
  add("idle.wav", silence.facts(), measure::measure_audio(silence, quiet));
  const auto feed = faultsim::record_feed(site, seed, 8);
  AudioMemory programme(feed, "feed.wav", "", faultsim::full_scale_v * std::numbers::sqrt2);
  add("feed.wav", programme.facts(), measure::measure_audio(programme, {}));
}

void measure_video_of(const faultsim::Installation& site, std::uint64_t seed, const Add& add) {
  const auto wave = faultsim::record_waveform(site, seed, 0.3);
  VideoMemory video(wave);
  add("camera.raw", video.facts(), measure::measure_video(video, {}));
  const auto steps = faultsim::record_waveform(site, seed + 33, 0.2, true);
  VideoMemory staircase(steps);
  add("camera-steps.raw", staircase.facts(), measure::measure_video(staircase, {}));
  auto low = faultsim::record_lowband(site, seed, 4);
  faultsim::AudioTake card;
  card.rate_hz = low.rate_hz;
  card.channels = 1;
  card.samples = std::move(low.volts);
  for (float& v : card.samples) v *= 0.25F;
  AudioMemory lowband(card, "camera-lowband.wav", "video-bars-100", 4);
  add("camera-lowband.wav", lowband.facts(), measure::measure_lowband(lowband, {}));
}

void measure_picture_of(const faultsim::Installation& site, std::uint64_t seed, const Add& add) {
  const auto frames = faultsim::record_picture(site, seed, 1);
  FrameMemory picture(frames);
  measure::PictureOptions bars;
  bars.signal = "video-bars-100";
  add("picture.yuv", picture.facts(), measure::measure_picture(picture, bars));
}

// @param view what is looked at: "audio", "video" (the waveform) or "picture"; empty: all of it.
std::vector<diagnose::Capture> measured(const faultsim::Installation& site, std::uint64_t seed,
                                        std::string_view view = {}) {
  std::vector<diagnose::Capture> out;
  const auto add = [&](std::string name, const CaptureFacts& facts, Readings readings) {
    out.push_back({std::move(name), facts, std::move(readings)});
  };
  const auto seen = [&](std::string_view one) { return view.empty() || view == one; };
  if (seen("audio")) measure_audio_of(site, seed, add);
  if (seen("video")) measure_video_of(site, seed, add);
  if (seen("picture")) measure_picture_of(site, seed, add);
  return out;
}

struct Outcome {
  int cases = 0, first = 0, third = 0;
};

Outcome diagnose_samples(const std::vector<std::string>& faults, int each) {
  Outcome o;
  std::uint64_t seed = first_seed() + 500'000;
  for (const std::string& fault : faults) {
    for (int k = 0; k < each; ++k) {
      ++seed;
      const auto site = faultsim::visible_installation({fault}, seed);
      const auto d = diagnose::diagnose(
          shipped_book(), diagnose::gather(shipped_book(), measured(site, seed), {site.system, "two"}));
      ++o.cases;
      const auto place =
          std::find_if(d.ranking.begin(), d.ranking.end(), [&](const auto& r) { return r.first == fault; }) -
          d.ranking.begin();
      const bool first = place == 0 && d.ranking[0].second > std::max(d.nothing_wrong, d.unlisted);
      o.first += first ? 1 : 0;
      o.third += place < 3 ? 1 : 0;
      std::printf("  %-32s %s, %.3f; first %s %.3f, nothing wrong %.3f, not in the book %.3f\n",
                  fault.c_str(), first ? "first" : "NOT FIRST",
                  d.ranking[static_cast<std::size_t>(place)].second, d.ranking[0].first.c_str(),
                  d.ranking[0].second, d.nothing_wrong, d.unlisted);
    }
  }
  return o;
}

TEST(FaultSamples, TheWholeWayFromSamplesToTheFault) {
  // One of each kind; all of them where LINEBENCH_FAULTSIM_SAMPLES says how many of each.
  const char* asked = std::getenv("LINEBENCH_FAULTSIM_SAMPLES");
  std::vector<std::string> faults = {"earth-two-points", "supply-ripple", "pair-open",
                                     "source-reversed",  "cable-long",    "termination-missing",
                                     "sync-low",         "phone-pickup"};
  int each = 1;
  if (asked != nullptr && std::atoi(asked) > 0) {
    each = std::atoi(asked);
    faults = faultsim::fault_names();
    std::erase(faults, "camera-free-running");
  }
  const Outcome o = diagnose_samples(faults, each);
  std::printf("%d cases from samples: first %d, among the first three %d\n", o.cases, o.first, o.third);
  EXPECT_GE(o.first, o.cases * 85 / 100);
  EXPECT_GE(o.third, o.cases * 95 / 100);
}

TEST(FaultSamples, ASoundInstallationIsCalledSound) {
  for (std::uint64_t seed = first_seed() + 600'000, k = 0; k < 2; ++k) {
    ++seed;
    const auto site = faultsim::visible_installation({}, seed);
    const auto d = diagnose::diagnose(
        shipped_book(), diagnose::gather(shipped_book(), measured(site, seed), {site.system, "two"}));
    std::printf("  %s: nothing wrong %.3f, %s %.3f\n", site.system.c_str(), d.nothing_wrong,
                d.ranking[0].first.c_str(), d.ranking[0].second);
    EXPECT_GT(d.nothing_wrong, 0.5);
    EXPECT_LT(d.ranking[0].second, 0.5);
  }
}

// Captures of one view of a sound site to which this was done.
template <class Do>
diagnose::Diagnosis of_views(std::uint64_t seed, std::string_view view, Do done) {
  faultsim::Dice dice(seed);
  faultsim::Installation site = faultsim::sound_installation(dice);
  done(site);
  return diagnose::diagnose(shipped_book(),
                            diagnose::Job{measured(site, seed, view), {}, {site.system, "two"}});
}

double probability(const diagnose::Diagnosis& d, std::string_view fault) {
  for (const auto& [id, p] : d.ranking) {
    if (id == fault) return p;
  }
  return 0;
}

// Snow whose peaks reach the ends of the codes is noise: nothing is driven too far by it.
TEST(FaultSamples, SnowIsNoOverload) {
  std::uint64_t seed = first_seed() + 800'000;
  for (const char* view : {"picture", "video"}) {
    for (const double mv : {12.0, 25.0, 50.0, 90.0}) {
      const auto d = of_views(++seed, view, [&](faultsim::Installation& s) { s.video.noise_mv = mv; });
      std::printf("  %s, %.0f mV of noise: overloaded %.3f, first %s %.3f\n", view, mv,
                  probability(d, "input-overloaded"), d.ranking[0].first.c_str(), d.ranking[0].second);
      EXPECT_LT(probability(d, "input-overloaded"), 0.1) << view << " " << mv;
      EXPECT_EQ(d.ranking[0].first, "video-noisy") << view << " " << mv;
    }
  }
}

// What comes back within an edge's length moves colours and bends edges: it is told or left open, never
// sound.
TEST(FaultSamples, ANearEchoIsNotCalledSound) {
  std::uint64_t seed = first_seed() + 900'000;
  for (const double ns : {120.0, 220.0, 350.0, 450.0}) {
    for (const double down_db : {6.0, 12.0}) {
      const auto d = of_views(++seed, "video", [&](faultsim::Installation& s) {
        s.video.echo_s = ns * 1e-9;
        s.video.echo = std::pow(10, -down_db / 20);
      });
      std::printf("  %.0f ns, %.0f dB down: nothing wrong %.3f, sound %d, gaps %zu, out %zu, %s %.3f\n", ns,
                  down_db, d.nothing_wrong, diagnose::shown_sound(d) ? 1 : 0, d.gaps.size(),
                  d.out_of_limits.size(), d.ranking[0].first.c_str(), d.ranking[0].second);
      EXPECT_FALSE(diagnose::shown_sound(d)) << ns << " " << down_db;
    }
  }
}

// A carrier on the cable, seen by the grabber alone.
TEST(FaultSamples, ACarrierInThePictureIsATransmitters) {
  std::uint64_t seed = first_seed() + 950'000;
  for (const double hz : {0.9e6, 1.7e6, 2.3e6}) {
    const auto d = of_views(++seed, "picture", [&](faultsim::Installation& s) {
      s.video.tone_mv = 25;
      s.video.tone_hz = hz;
    });
    std::printf("  %.1f MHz: nothing wrong %.3f, %s %.3f\n", hz * 1e-6, d.nothing_wrong,
                d.ranking[0].first.c_str(), d.ranking[0].second);
    EXPECT_EQ(d.ranking[0].first, "radio-pickup") << hz;
    EXPECT_LT(d.nothing_wrong, 0.1) << hz;
  }
}

// A grabber whose gain control hunts shows no steady picture, and a fault is named for it.
TEST(FaultSamples, GainThatHuntsIsTheGrabbersOrAContacts) {
  std::uint64_t seed = first_seed() + 970'000;
  for (const double db : {0.6, 1.5, 4.0}) {
    const auto d = of_views(++seed, "picture", [&](faultsim::Installation& s) { s.video.hunting_db = db; });
    const double named = probability(d, "recorder-fault") + probability(d, "connector-bad");
    std::printf("  %.1f dB: nothing wrong %.3f, grabber or contact %.3f, first %s\n", db, d.nothing_wrong,
                named, d.ranking[0].first.c_str());
    EXPECT_FALSE(diagnose::shown_sound(d)) << db;
    if (db > 1) {
      EXPECT_LT(d.nothing_wrong, 0.2) << db;
      EXPECT_GT(named, 0.5) << db;
    }
  }
}

// What the readings of samples say must be what stands on the wires.
TEST(FaultSamples, ReadingsAgreeWithTheWires) {
  std::uint64_t seed = first_seed() + 700'000;
  faultsim::Dice dice(++seed);
  faultsim::Installation site = faultsim::sound_installation(dice);
  site.mains_hz = site.field_hz > 55 ? 59.2 : 49.2;  // far enough from the field to be told from the picture
  site.video.hum_mv = {};
  site.video.hum_mv[1] = 20;
  site.video.hum_mv[3] = 6;
  site.video.sync_db = -2;
  site.video.loss_db = 0;  // a long cable takes some of sync's height too
  site.video.echo = 0;
  site.lines[0].gain_db = -4;
  site.lines[0].hum = {};
  site.lines[0].hum[1] = 0.02;
  site.lines[0].hum[3] = 0.005;
  const auto captures = measured(site, seed);
  const auto number = [&](std::size_t capture, const char* id) {
    const Reading* r = find_reading(captures[capture].readings, id);
    if (r == nullptr || !r->measured()) {
      ADD_FAILURE() << id << (r != nullptr ? ": " + r->reason : "");
      return 0.0;
    }
    return r->number();
  };
  const double pp = 2 * std::numbers::sqrt2;  // of a sine from its rms
  const double gain = std::pow(10, site.video.gain_db / 20);
  EXPECT_NEAR(number(5, "video.hum.harmonic.1"), pp * 20 * gain, 1.5);
  EXPECT_NEAR(number(5, "video.hum.harmonic.3"), pp * 6 * gain, 1.5);
  const double nominal = site.system == "625" ? 300 : 285.7;
  EXPECT_NEAR(number(3, "video.sync.amplitude"), nominal * gain * std::pow(10, -2.0 / 20), 0.02 * nominal);
  EXPECT_NEAR(number(0, "audio.tone.level.left"), -22, 0.1);
  EXPECT_NEAR(number(0, "audio.hum.harmonic.1.left"), 20 * std::log10(0.02 / faultsim::full_scale_v), 0.5);
  EXPECT_NEAR(number(0, "audio.hum.harmonic.3.left"), 20 * std::log10(0.005 / faultsim::full_scale_v), 0.8);
}

}  // namespace
