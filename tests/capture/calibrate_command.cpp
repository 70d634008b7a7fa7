// linebench calibrate from files: no hardware, and after the fact.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/calibration.hpp>
#include <nlohmann/json.hpp>

#include "sound/program.hpp"
#include "support/synth.hpp"

namespace {

using namespace linebench;
using nlohmann::json;

class Calibrate : public testing::Test {
 protected:
  void write(const char* name, const std::vector<synth::Samples>& channels, double rate,
             const std::string& recorder = "") {
    CaptureFacts facts;
    facts.device = recorder;
    write(name, channels, rate, facts);
  }
  void write(const char* name, const std::vector<synth::Samples>& channels, double rate,
             const CaptureFacts& facts) {
    capture::AudioFileWriter writer(folder / name, rate, static_cast<int>(channels.size()),
                                    capture::SampleFormat::Float32);
    std::vector<float> x;
    for (std::size_t n = 0; n < channels[0].size(); ++n) {
      for (const auto& c : channels) x.push_back(c[n]);
    }
    writer.write(x);
    if (!facts.device.empty() || !facts.calibration.empty()) (void)writer.finish(facts);
  }
  json calibrate(const std::string& words) {
    const Ran r = run_program(folder, "calibrate --json " + words);
    EXPECT_EQ(r.exit, 0) << words << ": " << r.err;
    return json::parse(r.out, nullptr, false).value("calibrations", json::array());
  }
  TempFolder folder;
  const std::string device = "--device 'ALSA: Counter card (hw:1,0)' ";
};

TEST_F(Calibrate, VoltsFromAMeterReading) {
  // By hand: 0.775 V rms at -18 dBFS is 0.775 * sqrt 2 * 10^(18/20) = 8.706 V peak at full scale.
  json c = calibrate(device + "--rate 48000 --meter 0.775 --at-level -18dBFS --side output");
  ASSERT_EQ(c.size(), 1U);
  EXPECT_NEAR(c[0]["volts"]["output_full_scale"], 8.706, 0.001);
  EXPECT_FALSE(c[0]["volts"].contains("input_full_scale"));
  // The other side is added, and what was known stays.
  c = calibrate(device + "--rate 48000 --meter 1 --at-level 0dBFS");
  EXPECT_NEAR(c[0]["volts"]["input_full_scale"], 1.41421, 1e-4);
  EXPECT_NEAR(c[0]["volts"]["output_full_scale"], 8.706, 0.001);
  EXPECT_EQ(calibrate("--list").size(), 1U);
  EXPECT_EQ(run_program(folder, "calibrate --remove " + device).exit, 0);
  EXPECT_EQ(calibrate("--list").size(), 0U);
  EXPECT_EQ(run_program(folder, "calibrate --remove " + device).exit, 3);
}

TEST_F(Calibrate, ClockAgainstAKnownTone) {
  // A recorder 37 ppm fast shows 1000 Hz as 1000 / 1.000037 Hz.
  for (const double rate : {44100.0, 96000.0}) {
    synth::Samples x(synth::count(10, rate));
    synth::add_sine(x, rate, 1000.0 / 1.000037, -12);
    synth::add_noise(x, -80, 5);
    write("tone.wav", {x}, rate, "ALSA: Counter card (hw:1,0)");
    const json c = calibrate("--reference-hz 1000 --recording tone.wav");
    ASSERT_EQ(c.size(), 1U);
    EXPECT_EQ(c[0]["device"], "ALSA: Counter card (hw:1,0)") << "the recording knows its card";
    EXPECT_EQ(c[0]["sample_rate"], rate);
    EXPECT_NEAR(c[0]["clock"]["error_ppm"], 37.0,
                std::max(0.05, c[0]["clock"]["uncertainty_ppm"].get<double>()));
    EXPECT_LT(c[0]["clock"]["uncertainty_ppm"].get<double>(), 2.0);
  }
}

TEST_F(Calibrate, AKnownClockErrorIsTakenOutOfEveryFrequency) {
  // A recorder 80 ppm fast: 50 Hz mains and a 997 Hz tone both look 80 ppm low.
  constexpr double fast = 1.00008;
  synth::Samples x(synth::count(12, 48000));
  synth::add_sine(x, 48000, 997.0 / fast, -20);
  for (const int k : {1, 2, 3, 4, 5}) synth::add_sine(x, 48000, 50.0 * k / fast, -50 - 2 * k);
  synth::add_noise(x, -90, 21);
  write("lane.wav", {x}, 48000);
  const auto file = capture::open_audio_file(folder / "lane.wav");
  CaptureFacts facts = file->facts();
  capture::Calibration card;
  card.device = "ALSA: Counter card (hw:1,0)";
  card.sample_rate_hz = 48000;
  card.clock_error_ppm = 80;
  card.clock_uncertainty_ppm = 0.5;
  card.clock_at = "2026-11-25T09:45:00Z";
  capture::apply_calibration(facts, card);
  write("lane2.wav", {x}, 48000, facts);
  const Ran r = run_program(folder, "measure lane2.wav --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  const json j = json::parse(r.out, nullptr, false);
  EXPECT_EQ(j["input"]["calibration"], "ALSA: Counter card (hw:1,0) at 48000 Hz, 2026-11-25");
  int seen = 0;
  for (const json& reading : j["readings"]) {
    const bool tone = reading["id"] == "audio.tone.frequency";
    if (!tone && reading["id"] != "audio.hum.frequency") continue;
    ++seen;
    // 80 ppm would be 80 mHz of the tone and 4 mHz of the mains.
    const double truth = tone ? 997.0 : 50.0;
    EXPECT_NEAR(reading["value"], truth, tone ? 0.002 : 0.001) << reading["id"];
  }
  EXPECT_EQ(seen, 2);
}

TEST_F(Calibrate, VoltsFromARecordedTone) {
  synth::Samples x(synth::count(5, 48000));
  synth::add_sine(x, 48000, 997, -6);
  synth::add_noise(x, -90, 6);
  write("tone.wav", {x}, 48000);
  const json c = calibrate(device + "--recording tone.wav --meter 0.5");
  EXPECT_NEAR(c[0]["volts"]["input_full_scale"], 0.5 * std::sqrt(2.0) * std::pow(10, 6.0 / 20), 0.002);
}

TEST_F(Calibrate, LoopFromFiles) {
  // A card of known gain and delay: -1.5 dB left and -2.5 dB right, 37 samples late.
  synth::Samples sent(synth::count(3, 48000));
  synth::add_noise(sent, -20, 8);
  synth::Samples left(sent.size() + 37, 0.0F);
  synth::Samples right = left;
  for (std::size_t n = 0; n < sent.size(); ++n) {
    left[n + 37] = sent[n] * static_cast<float>(std::pow(10, -1.5 / 20));
    right[n + 37] = sent[n] * static_cast<float>(std::pow(10, -2.5 / 20));
  }
  synth::add_noise(left, -95, 9);
  synth::add_noise(right, -95, 10);
  write("sent.wav", {sent, sent}, 48000);
  write("back.wav", {left, right}, 48000);
  const json c = calibrate(device + "--sent sent.wav --returned back.wav");
  ASSERT_EQ(c.size(), 1U);
  ASSERT_EQ(c[0]["loop"]["channels"].size(), 2U);
  for (std::size_t channel = 0; channel < 2; ++channel) {
    const json& l = c[0]["loop"]["channels"][channel];
    EXPECT_NEAR(l["delay"], 37.0 / 48000, 0.2 / 48000);
    const double gain = channel == 0 ? -1.5 : -2.5;
    for (std::size_t i = 0; i < l["gain"]["x"].size(); ++i) {
      const double hz = l["gain"]["x"][i];
      if (hz < 50 || hz > 16000) continue;
      EXPECT_NEAR(l["gain"]["y"][i], gain, 0.1) << hz;
    }
  }
}

TEST_F(Calibrate, NoiseFromAQuietRecording) {
  synth::Samples x(synth::count(5, 48000));
  synth::add_noise(x, -90, 11);
  write("quiet.wav", {x}, 48000);
  const json c = calibrate(device + "--quiet quiet.wav");
  EXPECT_NEAR(c[0]["noise"]["dbfs"][0], synth::noise_in_band(-90, 48000, 20, 20000), 0.3);
}

TEST_F(Calibrate, RefusesWhatMakesNoSense) {
  synth::Samples noise(synth::count(3, 48000));
  synth::add_noise(noise, -20, 12);
  write("noise.wav", {noise}, 48000);
  synth::Samples tone(synth::count(5, 48000));
  synth::add_sine(tone, 48000, 440, -12);
  write("tone.wav", {tone}, 48000);
  const auto exit = [&](const std::string& words) {
    const Ran r = run_program(folder, "calibrate " + words);
    EXPECT_EQ(std::count(r.err.begin(), r.err.end(), '\n'), 1) << words << ": " << r.err;
    return r.exit;
  };
  EXPECT_EQ(exit(device), 2) << "nothing to do";
  EXPECT_EQ(exit(device + "--sent noise.wav"), 2);
  EXPECT_EQ(exit(device + "--sent noise.wav --returned noise.wav"), 2) << "the same file";
  EXPECT_EQ(exit(device + "--rate 48000 --meter -1 --at-level 0dBFS"), 2);
  EXPECT_EQ(exit(device + "--rate 48000 --meter nan --at-level 0dBFS"), 2);
  EXPECT_EQ(exit(device + "--rate 48000 --meter 1 --side output"), 2);
  EXPECT_EQ(exit(device + "--meter 1 --at-level 0dBFS"), 2) << "at which rate?";
  EXPECT_EQ(exit("--meter 1 --recording tone.wav"), 2) << "which card?";
  EXPECT_EQ(exit(device + "--recording nosuch.wav --reference-hz 1000"), 3);
  EXPECT_EQ(exit(device + "--recording noise.wav --reference-hz 1000"), 3) << "no tone in it";
  EXPECT_EQ(exit(device + "--recording tone.wav --reference-hz 1000"), 3) << "another tone";
  EXPECT_EQ(exit(device + "--recording tone.wav --reference-hz nan"), 2);
  EXPECT_EQ(exit(device + "--recording tone.wav --reference-hz 440 --reference-ppm -1"), 2);
  EXPECT_EQ(exit(device + "--quiet noise.wav"), 3) << "that is no card's own noise";
  EXPECT_EQ(exit(device + "--sent noise.wav --returned tone.wav"), 3) << "the return is not of what was sent";
}

}  // namespace
