// A mobile phone's bursts are no mains hum, and hum beside them is found. Frame 120/26 ms, slot an eighth of
// it, the 26th frame of each multiframe idle [ETSI TS 145 002; frame lengths from memory]: lines 216.67 Hz
// apart, and 8.33 Hz apart from the idle frame, of which every sixth lies on a multiple of 50 Hz.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/hum.hpp>
#include <map>

#include "support/synth.hpp"

namespace {

using namespace linebench;
using namespace linebench::measure;

constexpr double rate = 48000;

struct Phone {
  double height = 0.01;
  bool idle_frame = true;
  double from_s = 0, to_s = 100;
  double ppm = 0;
};

synth::Samples capture(const Phone& phone, double noise_db) {
  synth::Samples x(synth::count(10.0, rate), 0.0F);
  const double frame = 0.12 / 26.0 / (1.0 + phone.ppm * 1e-6);
  double before = 0.0;  // a coupling capacitor: high-pass at 100 Hz
  double out = 0.0;
  const double keep = std::exp(-2.0 * 3.14159265 * 100.0 / rate);
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double t = static_cast<double>(i) / rate;
    const double number = std::floor(t / frame);
    const bool idle = phone.idle_frame && std::fmod(number, 26.0) >= 25.0;
    const bool on = t >= phone.from_s && t < phone.to_s && !idle && t - number * frame < frame / 8.0;
    const double in = on ? phone.height : 0.0;
    out = keep * (out + in - before);
    before = in;
    x[i] = static_cast<float>(out);
  }
  synth::add_noise(x, noise_db, 4);
  return x;
}

HumResult hum_of(const synth::Samples& x) {
  HumAnalyser a(rate, {});
  a.push(x);
  return a.finish();
}

TEST(HumPhone, BurstsAloneAreNoHum) {
  for (const bool idle_frame : {true, false}) {
    for (const Phone& phone : {Phone{.idle_frame = idle_frame}, Phone{.idle_frame = idle_frame, .ppm = 180},
                               Phone{.idle_frame = idle_frame, .ppm = -150},
                               Phone{.height = 0.018, .idle_frame = idle_frame, .from_s = 3, .to_s = 6},
                               Phone{.height = 0.03, .idle_frame = idle_frame, .from_s = 3.2, .to_s = 3.9}}) {
      for (const double noise_db : {-75.0, -100.0}) {
        const HumResult r = hum_of(capture(phone, noise_db));
        EXPECT_FALSE(r.found) << idle_frame << " " << phone.ppm << " " << phone.from_s << " " << noise_db
                              << " read " << r.frequency_hz << " Hz " << dbfs_from_power(r.power);
        EXPECT_FALSE(r.second);
        const Readings readings = to_readings(r, "");
        EXPECT_NE(find_reading(readings, "audio.hum.level")->reason.find("mobile-phone"), std::string::npos);
      }
    }
  }
}

TEST(HumPhone, HumBesideBurstsIsFoundWithItsOwnHarmonics) {
  for (const bool idle_frame : {true, false}) {
    for (const double f0 : {49.93, 50.0, 50.02, 59.98}) {
      synth::Samples x = capture({.idle_frame = idle_frame}, -80.0);
      double total = 0.0;
      for (const auto& [k, db] : std::map<int, double>{{1, -50}, {2, -56}, {3, -53}, {5, -60}}) {
        synth::add_sine(x, rate, f0 * k, db, 0.3 * k * k);
        total += 0.5 * power_from_db(db);  // full scale is a sine's
      }
      const HumResult r = hum_of(x);
      ASSERT_TRUE(r.found) << idle_frame << " " << f0;
      // Pulses on a sampling grid leave faint lines 8.33 Hz apart that no phone makes.
      EXPECT_NEAR(r.frequency_hz, f0, 2.0 * r.frequency_u + 2e-5) << idle_frame << " " << f0;
      EXPECT_LT(r.frequency_u, 0.005);
      EXPECT_NEAR(r.power, total, 2.0 * r.power_u + 3e-3 * total) << idle_frame << " " << f0;
      EXPECT_LT(r.power_u, 0.05 * r.power);
      const Readings readings = to_readings(r, "");
      EXPECT_NE(find_reading(readings, "audio.hum.level")->reason.find("on lines of mobile-phone bursts"),
                std::string::npos);
    }
  }
}

TEST(HumPhone, BurstsAreNoTestTone) {
  for (const bool idle_frame : {true, false}) {
    synth::Samples x = capture({.idle_frame = idle_frame}, -75.0);
    synth::MemorySource alone(rate, {x});
    const Readings none = measure_audio(alone, {});
    const Reading* tone = find_reading(none, "audio.tone.frequency");
    EXPECT_EQ(tone->verdict, Verdict::Unmeasurable);
    EXPECT_NE(tone->reason.find("mobile-phone"), std::string::npos) << tone->reason;
    EXPECT_EQ(find_reading(none, "audio.thd")->verdict, Verdict::Unmeasurable);
    // A tone that was sent, even one on the bursts' lines, is one.
    for (const double hz : {1000.0, 650.0}) {
      synth::Samples both = x;
      synth::add_sine(both, rate, hz, -20.0);
      synth::MemorySource source(rate, {both});
      const Readings readings = measure_audio(source, {});
      const Reading* sent = find_reading(readings, "audio.tone.frequency");
      ASSERT_TRUE(sent->measured()) << sent->reason;
      EXPECT_NEAR(sent->number(), hz, 0.01);
    }
  }
}

}  // namespace
