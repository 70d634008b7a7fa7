// What distorts quiet speech alone, and an echo that is heard by itself. The unit is made by numpy,
// expectations are closed forms.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "station_bench.hpp"

namespace {

using check_test::answers;
using check_test::Bench;
using nlohmann::json;

// The law is numpy's of x, the sent signal with a full-scale sine of 1.
void unit(const Bench& bench, const std::string& signal, const std::string& key, const std::string& law) {
  (void)testing_support::run_python(
      "import sys, numpy as np\nfrom scipy.io import wavfile\nfrom scipy.signal import resample_poly\n"
      "rate, x = wavfile.read(sys.argv[1])\n"
      "x = x / float(2**31 if x.dtype == np.int32 else 2**15) if x.dtype.kind == 'i' else x\n"
      "x = x if x.ndim == 1 else x[:, 0]\n"
      "y = " +
          law +
          "\ny = y + np.random.default_rng(len(sys.argv[2])).normal(0, 10**(-75/20), len(y))\n"
          "wavfile.write(sys.argv[2], rate, y.astype(np.float32))\n",
      {(bench.folder.path / (signal + ".wav")).string(),
       (bench.folder.path / ("test." + key + ".wav")).string()});
}

// Harmonics of A sin x with a dead zone of d on both sides, by Fourier's integral, over the fundamental.
double thd_percent(double a, double d) {
  const double from = std::asin(d / a);
  const auto harmonic = [&](int n) {
    constexpr int steps = 20000;
    const double step = (std::numbers::pi / 2 - from) / steps;
    double sum = 0;
    for (int i = 0; i < steps; ++i) {
      const double t = from + (i + 0.5) * step;
      sum += (a * std::sin(t) - d) * std::sin(n * t) * step;
    }
    return 4 / std::numbers::pi * sum;
  };
  double power = 0;
  for (int n = 3; n * 1000 < 20000; n += 2) power += std::pow(harmonic(n), 2);
  return 100 * std::sqrt(power) / harmonic(1);
}

double thd_of(const json& j, const std::string& title) {
  for (const auto& c : j.at("job").at("captures")) {
    if (c.at("label").get<std::string>().find(title) == std::string::npos) continue;
    for (const auto& r : c.at("readings")) {
      if (r.at("id") == "audio.thd" && r.at("value").is_number()) return r.at("value");
    }
  }
  return -1;
}

// A dead zone makes odd harmonics that stay as large while the tone gets smaller: 1.8 % at nominal level,
// within limits, is ten times as much 20 dB under it.
TEST(StationQuiet, CrossoverThatOnlyQuietSpeechShowsFails) {
  const Bench bench;
  for (const char* signal : {"silence", "tone-1k-nominal", "tone-1k-quiet", "stipa-nominal"})
    ASSERT_EQ(
        app_test::run(bench.folder, std::string("signals write ") + signal + " --out " + signal + ".wav")
            .exit,
        0);
  const double dead = 0.003;
  // At eight times the rate, as a stage does it: what folds down at the plain rate would be no part of it.
  const std::string law = "(lambda u: resample_poly(np.sign(u) * np.maximum(np.abs(u) - " +
                          std::to_string(dead) + ", 0), 1, 8))(resample_poly(x, 8, 1))";
  const auto all = [&](const std::string& of, bool quiet) {
    for (const auto& [signal, key] : {std::pair{"sweep-speech", "talk"},
                                      {"sweep-speech", "listen"},
                                      {"tone-1k-nominal", "level"},
                                      {"tone-1k-quiet", "quiet"},
                                      {"silence", "noise"},
                                      {"stipa-nominal", "intelligibility"}})
      unit(bench, signal, key, key == std::string("talk") || key == std::string("noise") ? "x" : of);
    if (!quiet) std::filesystem::remove(bench.folder.path / "test.quiet.wav");
    return std::string(
        "\"complaint\" = \"rough\"\n\"station.plan\" = \"speech-station\"\n\"test.feedback\" = \"skip\"\n");
  };
  const json fail = bench.check(1, answers("Q1", all(law, true) + "\"station.next\" = \"fail\"\n"));
  EXPECT_EQ(fail.at("job").at("outcome"), "fail") << fail.at("points").dump(1);
  EXPECT_NE(fail.at("points").dump().find("Distortion of quiet speech (line to loudspeaker): THD"),
            std::string::npos)
      << fail.at("points").dump(1);
  // -20 and -40 dBFS: amplitudes of 0.1 and 0.01 of full scale.
  EXPECT_NEAR(thd_of(fail, "Level and distortion"), thd_percent(0.1, dead), 0.05 * thd_percent(0.1, dead));
  EXPECT_NEAR(thd_of(fail, "quiet speech"), thd_percent(0.01, dead), 0.05 * thd_percent(0.01, dead));
  EXPECT_LT(thd_percent(0.1, dead), 3);
  // Where the test is left out, the paper says what was not looked for; a sound unit passes it.
  const json left = bench.check(0, answers("Q2", all(law, false) + "\"station.next\" = \"done\"\n"));
  EXPECT_NE(left.at("points").dump().find("what distorts only quiet speech"), std::string::npos)
      << left.at("points").dump(1);
  const json sound = bench.check(0, answers("Q3", all("x", true) + "\"station.next\" = \"done\"\n"));
  EXPECT_EQ(sound.at("job").at("outcome"), "no fault found") << sound.at("points").dump(1);
  EXPECT_EQ(sound.at("points").dump().find("was not looked for"), std::string::npos)
      << sound.at("points").dump(1);
}

// From 30 ms on an echo is heard by itself, at -20 dB and louder (common practice,
// signals/limits/speech-path.toml).
TEST(StationQuiet, ALateEchoFailsAnEarlyOrWeakOneDoesNot) {
  struct Echo {
    double ms, db;
    bool fails;
  };
  int n = 0;
  for (const Echo& e :
       {Echo{45, -16, true}, Echo{120, -14, true}, Echo{45, -26, false}, Echo{12, -24, false}}) {
    const Bench bench;
    unit(bench, "sweep-speech", "listen",
         "x + " + std::to_string(std::pow(10, e.db / 20)) + " * np.roll(x, int(" + std::to_string(e.ms) +
             " * rate / 1000))");
    unit(bench, "tone-1k", "level", "x");
    const json j = bench.check(e.fails ? 1 : 0,
                               answers("E" + std::to_string(++n), std::string("\"station.next\" = \"") +
                                                                      (e.fails ? "fail" : "done") + "\"\n"));
    EXPECT_EQ(j.at("job").at("outcome"), e.fails ? "fail" : "pass")
        << e.ms << " ms " << e.db << j.at("points").dump(1);
    EXPECT_EQ(j.at("points").dump().find("Late echo") != std::string::npos, e.fails)
        << j.at("points").dump(1);
  }
}

}  // namespace
