// Silence between markers. The bursts are closed forms after the recipe's own words (common practice): a tone
// of 1 kHz for 0.2 s with raised-cosine edges of 20 ms, one before the silence and two, 0.2 s apart, after
// it.
#include <linebench/measure/audio.hpp>
#include <linebench/measure/sent.hpp>

#include "measure/support_readings.hpp"
#include "support/coverage.hpp"

using namespace readings_support;
using namespace linebench;
using synth::Samples;

namespace {

constexpr double burst_s = 0.2;

void add_burst(Samples& x, double rate, double from_s, double hz, double dbfs) {
  const double a = std::pow(10.0, dbfs / 20.0);
  constexpr double rise_s = 0.02;
  for (std::size_t n = synth::count(from_s, rate);
       n < std::min(x.size(), synth::count(from_s + burst_s, rate)); ++n) {
    const double t = static_cast<double>(n) / rate - from_s;
    const double edge = std::clamp(std::min(t, burst_s - t) / rise_s, 0.0, 1.0);
    const double g = 0.5 - 0.5 * std::cos(std::numbers::pi * edge);
    x[n] += static_cast<float>(a * g * std::sin(2.0 * std::numbers::pi * hz * t));
  }
}

struct Return {
  double rate = 48000;
  double lead_s = 0.7;  // the recorder was started that long before the sender
  double seconds = 15;  // of the signal
  double marker_dbfs = -40;
  double hz = 1000;
  double noise_dbfs = -90;  // over the whole band
};

void add_markers(Samples& x, const Return& r) {
  for (const double from : {0.0, r.seconds - 3 * burst_s, r.seconds - burst_s})
    add_burst(x, r.rate, r.lead_s + from, r.hz, r.marker_dbfs);
}

Samples samples_of(const Return& r, std::uint64_t seed = 1) {
  Samples x(synth::count(r.lead_s + r.seconds + 0.4, r.rate));
  synth::add_noise(x, r.noise_dbfs, seed);
  add_markers(x, r);
  return x;
}

Readings measure_silence(double rate, std::vector<Samples> channels) {
  synth::MemorySource source(rate, std::move(channels));
  measure::AudioOptions options;
  options.signal = "silence";
  return measure::measure_audio(source, options);
}

}  // namespace

TEST(MarkedSilence, NoiseIsReadBetweenTheMarkersAtAnyRateLeadAndLevel) {
  double worst = 0;
  for (const double rate : {44100.0, 48000.0, 96000.0}) {
    for (const double lead : {0.0, 3.2371}) {
      for (const double marker : {-60.0, -40.0, -12.0}) {
        const auto r = measure_silence(
            rate,
            {samples_of({.rate = rate, .lead_s = lead, .seconds = 6, .marker_dbfs = marker, .hz = 1000.4})});
        const double truth = synth::noise_in_band(-90, rate, 20, 20000);
        worst = std::max(worst, std::abs(value(r, "audio.noise.unweighted") - truth));
        EXPECT_NEAR(value(r, "audio.noise.unweighted"), truth,
                    *reading(r, "audio.noise.unweighted").uncertainty * 2)
            << rate << " " << lead << " " << marker << " " << reading(r, "audio.marker.level").reason;
        EXPECT_NEAR(value(r, "audio.marker.level"), marker, *reading(r, "audio.marker.level").uncertainty);
      }
    }
  }
  std::printf("noise between markers: largest error %.3f dB\n", worst);
}

TEST(MarkedSilence, MarkerLevelClaimIsTrue) {
  for (const double marker : {-40.0, -67.0}) {
    coverage::expect_coverage("marker level", 100, [&](unsigned seed) {
      const auto r = measure_silence(16000, {samples_of({.rate = 16000,
                                                         .lead_s = 0.4 + 0.0007 * seed,
                                                         .seconds = 2,
                                                         .marker_dbfs = marker,
                                                         .noise_dbfs = -70},
                                                        seed)});
      return coverage::Trial{value(r, "audio.marker.level"), *reading(r, "audio.marker.level").uncertainty,
                             marker};
    });
  }
}

TEST(MarkedSilence, HumAndALoneBeepOfTheRoomStayInTheSilence) {
  Samples x = samples_of({});
  synth::add_sine(x, 48000, 50, -50);
  add_burst(x, 48000, 6.0, 1000, -45);  // a till's beep
  const auto r = measure_silence(48000, {x});
  EXPECT_NEAR(value(r, "audio.hum.level"), -50, 0.1);
  // The beep is in what was read: 0.18 s (its edges count 3/8) of 13.7 s at -45 dBFS.
  const double seconds = 15 - 3 * burst_s - burst_s - 0.3;
  EXPECT_NEAR(value(r, "audio.level.rms"),
              10 * std::log10(std::pow(10, -5.0) + std::pow(10, -4.5) * (0.16 + 2 * 0.02 * 0.375) / seconds),
              0.1);
}

TEST(MarkedSilence, AGoodStationOverADigitalCopyIsSilent) {
  Samples x(synth::count(15.4, 48000));
  add_markers(x, {.lead_s = 0.2});
  auto r = measure_silence(48000, {x});
  EXPECT_NEAR(value(r, "audio.marker.level"), -40, 0.1);
  EXPECT_FALSE(measured(r, "audio.noise.a"));
  synth::MemorySource source(48000, {x});
  measure::add_signal_readings(r, source.facts(), measure::Sent{.name = "silence", .returns = true});
  EXPECT_EQ(reading(r, "audio.signal").text(), "present");
}

TEST(MarkedSilence, WithoutMarkersTheWholeIsReadAndSaid) {
  Samples x(synth::count(10, 48000));
  synth::add_noise(x, -70, 3);
  auto r = measure_silence(48000, {x});
  EXPECT_NEAR(value(r, "audio.noise.unweighted"), synth::noise_in_band(-70, 48000, 20, 20000), 0.15);
  EXPECT_NE(reading(r, "audio.marker.level").reason.find("whole capture"), std::string::npos);
  synth::MemorySource source(48000, {x});
  auto looped = r;
  measure::add_signal_readings(looped, source.facts(), measure::Sent{.name = "silence", .returns = true});
  EXPECT_EQ(reading(looped, "audio.signal").text(), "none");
  measure::add_signal_readings(r, source.facts(), measure::Sent{.name = "silence"});
  EXPECT_EQ(reading(r, "audio.signal").text(), "idle");
}

TEST(MarkedSilence, ACaptureCutOffBeforeTheEndIsReadToItsEnd) {
  Samples x = samples_of({});
  for (const double at :
       {8.0, 15.2, 15.5, 15.75}) {  // in the silence, in the pair, after its first, in its second
    const Samples cut(x.begin(), x.begin() + static_cast<std::ptrdiff_t>(synth::count(at, 48000)));
    const auto r = measure_silence(48000, {cut});
    EXPECT_NEAR(value(r, "audio.noise.unweighted"), synth::noise_in_band(-90, 48000, 20, 20000), 0.2) << at;
  }
}

TEST(MarkedSilence, ASideWithoutMarkersSharesTheSpan) {
  Samples quiet(samples_of({}).size());
  synth::add_noise(quiet, -80, 9);
  const auto r = measure_silence(48000, {samples_of({}), quiet});
  EXPECT_NEAR(value(r, "audio.noise.unweighted.left"), synth::noise_in_band(-90, 48000, 20, 20000), 0.15);
  EXPECT_NEAR(value(r, "audio.noise.unweighted.right"), synth::noise_in_band(-80, 48000, 20, 20000), 0.15);
  EXPECT_FALSE(measured(r, "audio.marker.level.right"));
}

TEST(MarkedSilence, NoiseAndVoicesAreNoMarkers) {
  for (unsigned seed = 0; seed < 8; ++seed) {
    Samples x(synth::count(15, 16000));
    synth::add_noise(x, -40, seed);
    EXPECT_FALSE(measured(measure_silence(16000, {x}), "audio.marker.level")) << seed;
  }
}
