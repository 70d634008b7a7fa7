// A station on the bench. What was sent comes from the program; what the station did to it is made by sox.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/check/reference.hpp>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"
#include "station_bench.hpp"
#include "support/python.hpp"
#include "terminal.hpp"

namespace {

using app_test::run;
using check_test::answers;
using check_test::Bench;
using namespace linebench;
using nlohmann::json;

constexpr const char* band = "highpass 150 lowpass 6000";
constexpr const char* again = "highpass 150 lowpass 6000 gain -0.1";  // measured again: another recording

TEST(Station, PassesFailsAndIsRepaired) {
  const Bench bench;
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150 gain -12");
  const json fail =
      bench.check(1, answers("A1", "\"complaint\" = \"too quiet\"\n\"station.next\" = \"fail\"\n"));
  EXPECT_EQ(fail.at("job").at("outcome"), "fail");
  EXPECT_EQ(fail.at("job").at("station").at("serial"), "A1");

  bench.returned("tone-1k", "test.level.2", "highpass 150");
  // A repair that breaks the other path is none, though what had failed passes now.
  bench.returned("sweep-speech", "test.listen.2", band + std::string(" gain -20"));
  const json broken = bench.check(
      1, answers("A1",
                 "\"complaint\" = \"too quiet\"\n\"station.next\" = \"repair\"\n\"station.repair\" = \"new "
                 "capacitor\"\n\"station.next.2\" = \"fail\"\n"));
  EXPECT_EQ(broken.at("job").at("outcome"), "fail");
  bench.returned("sweep-speech", "test.listen.2", again);
  const json repaired = bench.check(
      0, answers("A1",
                 "\"complaint\" = \"too quiet\"\n\"station.next\" = \"repair\"\n\"station.repair\" = \"new "
                 "capacitor\"\n\"station.next.2\" = \"done\"\n"));
  EXPECT_EQ(repaired.at("job").at("outcome"), "repaired");
  EXPECT_EQ(repaired.at("job").at("captures").size(), 4u);  // the whole plan after the repair
  // This plan's tone goes out at -30 dBFS (signals/tone-1k.toml): its pass says so.
  EXPECT_NE(repaired.at("points").dump().find("Distortion was tested up to -30 dBFS, 10 dB under"),
            std::string::npos)
      << repaired.at("points").dump(1);
}

// The shipped plan against a unit that clips at its nominal level or softens there: speech peaks stand 12 dB
// over its mean level (common practice), so a tone 10 dB under nominal passes both untouched.
TEST(Station, WhatDistortsAtNominalLevelIsFoundByTheShippedPlan) {
  const Bench bench;
  for (const char* signal : {"silence", "tone-1k-nominal", "stipa-nominal"})
    ASSERT_EQ(run(bench.folder, std::string("signals write ") + signal + " --out " + signal + ".wav").exit,
              0);
  const auto unit = [&](const std::string& law, const std::string& next) {
    for (const auto& [signal, key] : {std::pair{"sweep-speech", "talk"},
                                      {"sweep-speech", "listen"},
                                      {"tone-1k-nominal", "level"},
                                      {"silence", "noise"},
                                      {"stipa-nominal", "intelligibility"}})
      testing_support::run_python(
          "import sys, numpy as np\nfrom scipy.io import wavfile\n"
          "rate, x = wavfile.read(sys.argv[1])\n"
          "x = x / float(2**31 if x.dtype == np.int32 else 2**15) if x.dtype.kind == 'i' else x\n"
          "x = x if x.ndim == 1 else x[:, 0]\n"
          "y = " +
              law +
              "\ny = y + np.random.default_rng(sum(map(ord, sys.argv[2]))).normal(0, 10**(-75/20), len(y))\n"
              "wavfile.write(sys.argv[2], rate, y.astype(np.float32))\n",
          {(bench.folder.path / (std::string(signal) + ".wav")).string(),
           (bench.folder.path / ("test." + std::string(key) + ".wav")).string()});
    return answers("H1",
                   "\"complaint\" = \"harsh when people speak\"\n\"station.plan\" = \"speech-station\"\n"
                   "\"test.feedback\" = \"skip\"\n\"station.next\" = \"" +
                       next + "\"\n");
  };
  // Full scale of a sine is 1: -15 dBFS is an amplitude of 0.178, -17 of 0.141.
  for (const char* law :
       {"np.clip(x, -0.178, 0.178)", "np.clip(x, -0.141, 0.141)", "0.1 * np.tanh(x / 0.1)"}) {
    const json j = bench.check(1, unit(law, "fail"));
    EXPECT_EQ(j.at("job").at("outcome"), "fail") << law << j.at("points").dump(1);
  }
  EXPECT_EQ(bench.check(0, unit("x", "done")).at("job").at("outcome"), "no fault found");
}

// A type that no plan names: most stations have no camera, so that a bare Enter asks for none.
TEST(Station, APlanWithoutACameraIsTheUsualOne) {
  const app_test::Folder folder;
  std::filesystem::create_directories(folder.path / "home");
  std::ofstream(folder.path / "home/profile.toml") << "mains_hz = 50\n";
  std::ofstream(folder.path / "typed") << "Post P2\n00417\nrough\n\n";
  const auto r = run(folder, "check station", "LC_ALL=C.UTF-8 sh -c 'exec \"$@\" < typed' sh");
  EXPECT_NE(r.out.find("[speech-station]"), std::string::npos) << r.out;
}

TEST(Station, SoundOneWithAComplaintIsNoFaultFoundWithItsEvidence) {
  const Bench bench;
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150");
  const json j =
      bench.check(0, answers("B7", "\"complaint\" = \"dead at times\"\n\"station.next\" = \"done\"\n"));
  EXPECT_EQ(j.at("job").at("outcome"), "no fault found");
  EXPECT_NE(j.at("headline").get<std::string>().find("long run"), std::string::npos);
  int good = 0;
  for (const auto& p : j.at("points")) good += p.at("weight") == "good" ? 1 : 0;
  EXPECT_GE(good, 2) << j.at("points").dump(1);
}

TEST(Station, UnlikeGoodUnitsIsSaidAndTrendShown) {
  const Bench bench;
  // Good units: gains spread by tenths of a decibel, as parts are.
  for (int i = 0; i < 4; ++i) {
    const std::string gain = " gain " + std::to_string(-1.0 + 0.1 * (i % 3) + 0.01 * i);
    bench.returned("sweep-speech", "test.listen", band + gain);
    bench.returned("tone-1k", "test.level", "highpass 150" + gain);
    const json good = bench.check(0, answers("G" + std::to_string(i), "\"station.next\" = \"reference\"\n"));
    EXPECT_EQ(good.at("job").at("outcome"), "pass");
    EXPECT_EQ(good.at("job").at("reference"), true) << good.at("job").dump(1).substr(0, 600);
  }
  // The same again is like them; 4 dB down is inside the limits and not like them.
  bench.returned("sweep-speech", "test.listen", band + std::string(" gain -0.95"));
  bench.returned("tone-1k", "test.level", "highpass 150 gain -0.95");
  const json like = bench.check(0, answers("U1", "\"station.next\" = \"done\"\n"));
  EXPECT_NE(like.at("points").dump().find("Nothing stands out from 4 good units"), std::string::npos)
      << like.at("points").dump(1);
  bench.returned("sweep-speech", "test.listen", band + std::string(" gain -5"));
  bench.returned("tone-1k", "test.level", "highpass 150 gain -5");
  const json unlike =
      bench.check(0, answers("U1", "\"complaint\" = \"quiet\"\n\"station.next\" = \"done\"\n"));
  EXPECT_NE(unlike.at("points").dump().find("4 good units of its type have"), std::string::npos);
  EXPECT_NE(unlike.at("headline").get<std::string>().find("does not read like"), std::string::npos);
  EXPECT_EQ(unlike.at("job").at("outcome"), "unlike good units");
  ASSERT_EQ(run(bench.folder, "report last --out paper.html").exit, 0);
  EXPECT_NE(app_test::slurp(bench.folder.path / "paper.html").find("Over its returns"), std::string::npos);
}

// A tone that runs for a minute; clicks by sox's own summing of short pulses at known times.
void long_run(const Bench& bench, const std::string& clicks) {
  const std::string tone = bench.folder.path / "tone.wav", out = bench.folder.path / "station.soak.wav";
  check_test::sox("-n -r 16000 -b 24 -c 1 '" + tone + "' synth 60 sine 1000 vol -23dB");
  const std::string hiss = bench.folder.path / "hiss.wav";
  check_test::sox("-n -r 16000 -b 24 -c 1 '" + hiss + "' synth 60 whitenoise vol -85dB");
  std::string mix = "-m -v 1 '" + tone + "' -v 1 '" + hiss + "'";
  if (!clicks.empty()) {
    const std::string pulse = bench.folder.path / "pulse.wav";
    check_test::sox("-n -r 16000 -b 24 -c 1 '" + pulse + "' synth 0.0002 square 2500 vol -4dB " + clicks);
    mix += " -v 1 '" + pulse + "'";
  }
  check_test::sox(mix + " -b 24 '" + out + "'");
}

TEST(Station, LongRunFindsWhatComesAndGoes) {
  const Bench bench;
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150");
  const std::string soak =
      "\"complaint\" = \"dead at times\"\n\"station.next\" = \"soak\"\n\"station.soak-hours\" = 0.0166\n";
  long_run(bench, "");
  const json clean = bench.check(0, answers("C1", soak));
  EXPECT_EQ(clean.at("job").at("outcome"), "no fault found") << clean.at("points").dump(1);
  EXPECT_NE(clean.at("headline").get<std::string>().find("long run"), std::string::npos);
  long_run(bench, "pad 23.5 36.4");
  const json clicked = bench.check(1, answers("C1", soak));
  EXPECT_EQ(clicked.at("job").at("outcome"), "fail");
  const auto& run_capture = clicked.at("job").at("captures").back();
  bool found = false;
  for (const auto& r : run_capture.at("readings")) {
    if (r.at("id") != "audio.click.times") continue;
    found = true;
    ASSERT_EQ(r.at("value").at("x").size(), 1u);
    EXPECT_NEAR(r.at("value").at("x").at(0).get<double>(), 23.5, 0.01);
  }
  EXPECT_TRUE(found) << run_capture.dump(1).substr(0, 1500);
}

// A fault that comes and goes is not gone because it stayed away once.
TEST(Station, AQuietRunAfterOneThatShowedItUndoesNothing) {
  const Bench bench;
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150");
  long_run(bench, "");
  std::filesystem::rename(bench.folder.path / "station.soak.wav", bench.folder.path / "station.soak.2.wav");
  long_run(bench, "pad 23.5 36.4");
  const json j = bench.check(1, answers("C9",
                                        "\"complaint\" = \"dead at times\"\n\"station.next\" = \"soak\"\n"
                                        "\"station.soak-hours\" = 0.0166\n\"station.soaked\" = \"again\"\n"
                                        "\"station.soaked.2\" = \"leave\"\n"));
  EXPECT_EQ(j.at("job").at("outcome"), "fail") << j.at("points").dump(1);
  EXPECT_NE(j.at("points").dump().find("at 00:00:23.5"), std::string::npos) << j.at("points").dump(1);
}

TEST(Station, LongRunOnAnOpenPathFails) {
  const Bench bench;
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150");
  check_test::sox("-n -r 16000 -b 24 -c 1 '" + (bench.folder.path / "station.soak.wav").string() +
                  "' synth 60 whitenoise vol -85dB");
  const json j = bench.check(1, answers("C4",
                                        "\"complaint\" = \"dead at times\"\n\"station.next\" = \"soak\"\n"
                                        "\"station.soak-hours\" = 0.0166\n"));
  EXPECT_EQ(j.at("job").at("outcome"), "fail") << j.at("points").dump(1);
}

TEST(Station, LongRunStoppedEarlyClearsNothing) {
  const Bench bench;
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150");
  long_run(bench, "");  // 60 s of the 180 s that are asked for
  const json j = bench.check(1, answers("C2",
                                        "\"complaint\" = \"dead at times\"\n\"station.next\" = \"soak\"\n"
                                        "\"station.soak-hours\" = 0.05\n"));
  EXPECT_EQ(j.at("job").at("outcome"), "not decided") << j.at("headline");
  EXPECT_NE(j.at("points").dump().find("Long run ended after 60.0 s"), std::string::npos)
      << j.at("points").dump(1);
}

// What a long run showed and was repaired is gone only when another long run does not show it.
TEST(Station, RepairAfterALongRunAsksForAnother) {
  const Bench bench;
  for (const auto& [key, gain] : {std::pair{"", ""}, {".2", " gain -0.1"}}) {
    bench.returned("sweep-speech", std::string("test.listen") + key, band + std::string(gain));
    bench.returned("tone-1k", std::string("test.level") + key, std::string("highpass 150") + gain);
  }
  const std::string soak =
      "\"complaint\" = \"dead at times\"\n\"station.next\" = \"soak\"\n\"station.soak-hours\" = 0.0166\n"
      "\"station.soaked\" = \"repair\"\n\"station.repair\" = \"new relay\"\n";
  long_run(bench, "pad 23.5 36.4");
  const json open = bench.check(1, answers("C3", soak + "\"station.next.2\" = \"done\"\n"));
  EXPECT_EQ(open.at("job").at("outcome"), "not decided") << open.at("headline");
  EXPECT_NE(open.at("points").dump().find("long run before the repair"), std::string::npos);
  EXPECT_EQ(open.at("job").at("captures").size(), 5u) << "every test again after the repair";
  std::filesystem::rename(bench.folder.path / "station.soak.wav", bench.folder.path / "kept.wav");
  long_run(bench, "");
  std::filesystem::rename(bench.folder.path / "station.soak.wav", bench.folder.path / "station.soak.2.wav");
  std::filesystem::rename(bench.folder.path / "kept.wav", bench.folder.path / "station.soak.wav");
  const json cured = bench.check(0, answers("C3", soak + "\"station.next.2\" = \"soak\"\n"));
  EXPECT_EQ(cured.at("job").at("outcome"), "repaired") << cured.at("points").dump(1);
}

// No measuring microphone here: the rest is still worth having, and it is no pass.
TEST(Station, NeededTestIsSkippedWithAReasonAndIsThenNoPass) {
  const Bench bench;
  bench.returned("tone-1k", "test.level", "highpass 150");
  const json j = bench.check(
      1, answers("E1", "\"test.listen\" = \"skip no measuring microphone\"\n\"station.next\" = \"done\"\n"));
  EXPECT_EQ(j.at("job").at("outcome"), "not decided");
  EXPECT_NE(j.at("points").dump().find("not tested: no measuring microphone"), std::string::npos)
      << j.at("points").dump(1);
  std::ofstream(bench.folder.path / "answers.toml") << answers("E1", "\"test.listen\" = \"skip\"\n");
  const auto bare = run(bench.folder, "check station --from-files .");
  EXPECT_EQ(bare.exit, 3);
  EXPECT_NE(bare.err.find("skip REASON"), std::string::npos) << bare.err;
}

TEST(Station, RepairOfOneThatPassedIsMeasuredAgain) {
  const Bench bench;
  const std::string repair =
      "\"complaint\" = \"dead at times\"\n\"station.next\" = \"repair\"\n\"station.repair\" = \"new relay\"\n"
      "\"station.next.2\" = \"fail\"\n";
  bench.returned("sweep-speech", "test.listen", band);
  bench.returned("tone-1k", "test.level", "highpass 150");
  bench.returned("sweep-speech", "test.listen.2", again);
  bench.returned("tone-1k", "test.level.2", "highpass 150 gain -12");
  const json j = bench.check(1, answers("D1", repair));
  EXPECT_EQ(j.at("job").at("outcome"), "fail") << "what was measured before the repair does not speak for it";
  EXPECT_EQ(j.at("job").at("captures").size(), 4u);
}

// A recording without facts beside it: the noise of the speech-like signal is not the station's.
TEST(Station, NoiseLikeSignalIsNotTakenForNoise) {
  const Bench bench;
  std::ofstream(bench.folder.path / "home/plans/short.toml")
      << "title = \"Short\"\ntypes = [\"post\"]\n[[test]]\nkey = \"clear\"\ntitle = \"Intelligibility\"\n"
         "signal = \"stipa\"\nlimits = \"speech-path\"\n";
  ASSERT_EQ(run(bench.folder, "signals write stipa --out stipa.wav").exit, 0);
  bench.returned("stipa", "test.clear", band);
  const json j = bench.check(0, answers("S1", "\"station.next\" = \"done\"\n"));
  EXPECT_EQ(j.at("job").at("outcome"), "pass") << j.at("points").dump(1);
}

TEST(Station, TypedAtATerminal) {
  const Bench bench;
  bench.returned("sweep-speech", "listen", band);
  bench.returned("tone-1k", "level", "highpass 150");
  const std::string home = bench.folder.path / "home";
  std::ofstream(home + "/profile.toml") << "mains_hz = 50\n";
  check_test::Terminal t(home, {"check", "station"});
  const auto answer = [&](const char* shown, const std::string& keys) {
    EXPECT_TRUE(t.wait_for(shown)) << shown << "\n" << t.screen();
    EXPECT_TRUE(t.wait_for("(?): "));
    t.line(keys);
  };
  answer("Type of the station", "Post");
  answer("Serial number", "77/B \"x\"");
  answer("What was reported", "");
  answer("Which site did it come from", "Ferry terminal");
  answer("Which tests?", "");  // the plan that names the type
  answer("what is done?", "1 2 -3");
  answer("Listen path", bench.folder.path / "listen.wav");
  answer("Measured: Listen path", bench.folder.path / "level.wav");
  answer("within limits", "ref");
  answer("what is done?", "all");
  EXPECT_EQ(t.finish(), 0) << t.screen();
  const json job = json::parse(run(bench.folder, "jobs show last --json").out).at("job");
  EXPECT_EQ(job.at("outcome"), "pass");
  EXPECT_EQ(job.at("reference"), true);
  EXPECT_EQ(job.at("station").at("serial"), "77/B \"x\"");
  int done = 0, not_needed = 0, open = 0;
  for (const auto& m : job.at("checklist")) {
    done += m.at("state") == "done" ? 1 : 0;
    not_needed += m.at("state") == "not needed" ? 1 : 0;
    open += m.at("state") == "open" ? 1 : 0;
  }
  EXPECT_EQ(not_needed, 1);
  EXPECT_GE(open, 1);
  EXPECT_GE(done, 3);
}

// scipy.stats.t.sf, an implementation of others.
TEST(Reference, StudentTailAsScipyHasIt) {
  const auto numbers = testing_support::run_python_numbers(
      "from scipy.stats import t\n"
      "print(*[2*t.sf(x, d) for d in (1,2,3,4,7,12,29) for x in (0.1,1.0,2.5,9.0,40.0)])\n");
  ASSERT_EQ(numbers.size(), 35u);
  std::size_t i = 0;
  for (const int dof : {1, 2, 3, 4, 7, 12, 29}) {
    for (const double x : {0.1, 1.0, 2.5, 9.0, 40.0}) {
      EXPECT_NEAR(check::student_beyond(x, dof), numbers[i], 1e-12 + 1e-6 * numbers[i]) << dof << " " << x;
      ++i;
    }
  }
}

}  // namespace
