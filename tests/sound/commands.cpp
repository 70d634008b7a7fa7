// The commands that use sound devices, driven through the program with the virtual card.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <future>
#include <linebench/capture/audio_file.hpp>
#include <linebench/signals/level.hpp>
#include <nlohmann/json.hpp>
#include <thread>
#include <where.hpp>

#include "sound/card.hpp"
#include "sound/program.hpp"

namespace {

using namespace linebench;
using nlohmann::json;

bool has(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }
auto lines(const std::string& text) { return std::count(text.begin(), text.end(), '\n'); }
std::size_t times(const std::string& text, const std::string& part) {
  std::size_t n = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size())) ++n;
  return n;
}

class Commands : public testing::Test {
 protected:
  void SetUp() override { REQUIRE_SOUND_CARD(); }
  TempFolder folder;
};

TEST_F(Commands, DevicesNamesTheCard) {
  const Ran table = run_program(folder, "devices");
  EXPECT_EQ(table.exit, 0) << table.err;
  EXPECT_TRUE(has(table.out, "JACK: loopback\n  input   2 channels, ")) << table.out;
  EXPECT_EQ(table.err, "") << "the layers below must not chatter";
  const Ran machine = run_program(folder, "devices --json");
  const json j = json::parse(machine.out);
  const auto card = std::find_if(j["sound"].begin(), j["sound"].end(),
                                 [](const json& d) { return d["device"] == "JACK: loopback"; });
  ASSERT_NE(card, j["sound"].end());
  EXPECT_EQ((*card)["inputs"], 2);
}

TEST_F(Commands, CaptureKeepsTheLengthAskedForAndItsFacts) {
  const Ran r = run_program(
      folder, "capture audio --from loopback --seconds 0.7 --channels 1 --bits 16 --out lane.wav --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_EQ(lines(r.err), 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j["input"]["device"], "JACK: loopback");
  auto file = capture::open_audio_file(folder / "lane.wav");
  EXPECT_EQ(file->facts().frames,
            static_cast<std::uint64_t>(std::llround(0.7 * file->facts().sample_rate_hz)));
  EXPECT_EQ(file->facts().channels, 1);
  EXPECT_EQ(file->facts().format, "WAV, 16 bit");
  EXPECT_EQ(file->facts().device, "JACK: loopback");
  EXPECT_FALSE(file->facts().interrupted);
  // What is there is not overwritten unasked.
  EXPECT_EQ(run_program(folder, "capture audio --from loopback --seconds 0.2 --out lane.wav").exit, 2);
  EXPECT_EQ(run_program(folder, "capture audio --from loopback --seconds 0.2 --out lane.wav --replace").exit,
            0);
}

TEST_F(Commands, WhatCannotBeDoneIsOneLineWithItsExitCode) {
  const auto check = [&](const std::string& words, int exit, const std::string& part) {
    const Ran r = run_program(folder, words);
    EXPECT_EQ(r.exit, exit) << words << ": " << r.err;
    EXPECT_EQ(lines(r.err), 1) << words << ": " << r.err;
    EXPECT_EQ(r.out, "") << words;
    EXPECT_TRUE(has(r.err, part)) << words << ": " << r.err;
  };
  check("capture audio --from loopback --seconds 1 --rate 11025 --out a.wav", 3, "takes");
  check("capture audio --from nosuch --seconds 1 --out a.wav", 3, "no sound device fits");
  check("capture audio --from jack --seconds 1 --out a.wav", 2, "fits 2 devices");
  check("capture audio --from loopback --seconds 0 --out a.wav", 2, "--seconds");
  check("capture audio --from loopback --seconds nan --out a.wav", 2, "--seconds");
  check("capture audio --from loopback --seconds 1 --channels 9 --out a.wav", 3, "2 input channels");
  check("capture audio --from loopback --seconds 1 --out a.mp3", 2, ".wav");
  check("capture audio --from loopback --seconds 1 --out nosuch/a.wav", 3, "cannot be written");
  check("loop --to loopback --from loopback --signal nosuch", 2, "nosuch");
  check("loop --to loopback --from loopback --signal tone-1k --level 0dBFS", 2, "--loud");
  check("loop --to loopback --from loopback --signal tone-1k --level +4dBu", 2, "full scale");
}

// In the foreground, so that timeout sends one signal: to its group it sends another, which is a second
// Ctrl-C.
TEST_F(Commands, CtrlCKeepsAndMarksWhatWasTaken) {
  const Ran r = run_program(folder, "capture audio --from loopback --seconds 60 --out lane.wav",
                            "timeout --foreground --preserve-status -s INT 1.5 env");
  EXPECT_EQ(r.exit, 4) << r.err;
  EXPECT_TRUE(has(r.err, "stopped after")) << r.err;
  auto file = capture::open_audio_file(folder / "lane.wav");
  EXPECT_TRUE(file->facts().interrupted);
  EXPECT_GT(file->facts().duration_s(), 0.3);
  EXPECT_LT(file->facts().duration_s(), 5.0);
  ASSERT_EQ(file->facts().notes.size(), 1U);
  EXPECT_TRUE(has(file->facts().notes[0], "Stopped by hand"));
}

TEST_F(Commands, CtrlCInALoopMeasuresNothingAndSaysWhatIsKept) {
  for (const std::string out : {"", " --out lane.wav"}) {
    const Ran r = run_program(folder, "loop --to loopback --from loopback" + out,
                              "timeout --foreground --preserve-status -s INT 2 env");
    EXPECT_EQ(r.exit, 4) << r.err;
    EXPECT_EQ(r.out, "");
    EXPECT_EQ(lines(r.err), 1) << r.err;
    EXPECT_EQ(has(r.err, "what was taken is kept"), !out.empty()) << r.err;
  }
  EXPECT_TRUE(capture::open_audio_file(folder / "lane.wav")->facts().interrupted);
}

TEST_F(Commands, APulledCardIsSaidAndWhatWasTakenIsKept) {
  // Under a virtual card of its own, which is killed while the capture runs.
  const std::string at = folder.path().string();
  const std::string inner = std::string(LINEBENCH_PROGRAM) +
                            " capture audio --from loopback --seconds 60 --out " + at + "/lane.wav 2> " + at +
                            "/.err & "
                            "p=$!; sleep 2; kill -9 $LINEBENCH_TEST_SOUND_PID; t=$(date +%s%N); wait $p; "
                            "r=$?; echo $((($(date +%s%N) - t) / 1000000)) > " +
                            at + "/.ms; exit $r";
  const int status = std::system((std::string("LINEBENCH_HOME=") + at + " bash " + LINEBENCH_SOURCE_DIR +
                                  "/tests/sound_card.sh bash -c '" + inner + "' > /dev/null 2>&1")
                                     .c_str());
  const std::string err = slurp(folder / ".err");
  EXPECT_EQ(WEXITSTATUS(status), 3) << err;
  EXPECT_TRUE(has(err, "gives no more samples")) << err;
  EXPECT_EQ(lines(err), 2) << "what was kept, and why it ended\n" << err;
  const int took_ms = std::stoi("0" + slurp(folder / ".ms"));
  std::printf("  ended %d ms after the card was pulled\n", took_ms);
  EXPECT_LT(took_ms, 5000);
  auto file = capture::open_audio_file(folder / "lane.wav");
  EXPECT_TRUE(file->facts().interrupted);
  EXPECT_GT(file->facts().duration_s(), 0.3);
}

TEST_F(Commands, DiskFullIsSaidAndWhatWasTakenIsKept) {
  const Ran r = run_program(folder, "capture audio --from loopback --seconds 30 --out lane.wav",
                            "bash -c 'ulimit -f 400; trap \"\" XFSZ; exec env \"$@\"' -");
  EXPECT_EQ(r.exit, 3) << r.err;
  EXPECT_TRUE(has(r.err, "the disk is full")) << r.err;
  EXPECT_GT(capture::open_audio_file(folder / "lane.wav")->facts().duration_s(), 0.5);
}

std::vector<float> channel_of(const std::filesystem::path& path, std::size_t channel) {
  auto file = capture::open_audio_file(path);
  const auto channels = static_cast<std::size_t>(file->facts().channels);
  std::vector<float> all(file->facts().frames * channels);
  all.resize(file->read(all) * channels);
  std::vector<float> one;
  for (std::size_t i = channel; i < all.size(); i += channels) one.push_back(all[i]);
  return one;
}

TEST_F(Commands, SendPlaysTheSignalAtItsLevelOnTheSideNamed) {
  const TempFolder sender;
  auto taking = std::async(std::launch::async, [&] {
    return run_program(folder, "capture audio --from loopback --seconds 6 --bits 32 --out lane.wav");
  });
  std::this_thread::sleep_for(std::chrono::seconds(1));
  const Ran r = run_program(
      sender, "signals send tone-1k --to loopback --seconds 1.5 --level -23dBFS --channel left --json");
  EXPECT_EQ(r.exit, 0) << r.err;
  EXPECT_EQ(lines(r.err), 1) << r.err;
  EXPECT_TRUE(has(r.err, "tone-1k: 1.5 s sent to JACK: loopback")) << r.err;
  const json j = json::parse(r.out, nullptr, false);
  EXPECT_EQ(j["command"], "signals send");
  EXPECT_EQ(j["input"]["signal"], "tone-1k");
  EXPECT_EQ(j["input"]["device"], "JACK: loopback");
  const Ran taken = taking.get();
  EXPECT_EQ(taken.exit, 0);
  // A machine too busy for its audio threads loses periods; then the program must have said so, and how long
  // the tone was heard says nothing.
  if (j["input"]["xruns"] != 0 || !has(taken.err, "no gaps"))
    GTEST_SKIP() << "this machine lost periods of the virtual card: " << r.err << taken.err;
  const auto left = channel_of(folder / "lane.wav", 0);
  const auto heard = [](float x) { return std::abs(x) > 1e-4F; };
  const auto first = std::find_if(left.begin(), left.end(), heard);
  const auto last = std::find_if(left.rbegin(), left.rend(), heard).base();
  ASSERT_LT(first, last) << "nothing was heard";
  EXPECT_NEAR(static_cast<double>(last - first) / 48000, 1.5, 0.05) << "gaps: " << r.err;
  // A full-scale sine is 0 dBFS (AES17), so the peak of this one is 10^(-23/20).
  const float peak = std::abs(*std::max_element(left.begin(), left.end(),
                                                [](float a, float b) { return std::abs(a) < std::abs(b); }));
  EXPECT_NEAR(peak, std::pow(10.0, -23.0 / 20), 1e-3 * std::pow(10.0, -23.0 / 20));
  const auto right = channel_of(folder / "lane.wav", 1);
  EXPECT_TRUE(std::all_of(right.begin(), right.end(), [](float x) { return x == 0.0F; }));
}

TEST_F(Commands, ALoudSignalComesWithItsCautionOnce) {
  for (const std::string words : {"signals send tone-1k --to loopback --seconds 0.3",
                                  "loop --to loopback --from loopback --seconds 1 --signal tone-1k"}) {
    const Ran r = run_program(folder, words + " --level -12dBFS --loud");
    EXPECT_TRUE(r.exit == 0 || r.exit == 1) << r.err;
    EXPECT_EQ(times(r.err, signals::caution_for(-12)), 1U) << words << ": " << r.err;
  }
}

TEST_F(Commands, TheMeterIsDrawnOnATerminalOnly) {
  const std::string at = folder.path().string();
  const std::string line =
      std::string("cd ") + at + " && TERM=xterm NO_COLOR=1 LC_ALL=C script -q -e -c '" + LINEBENCH_PROGRAM +
      " capture audio --from loopback --seconds 1 --out t.wav' /dev/null > .tty < /dev/null";
  ASSERT_EQ(std::system(line.c_str()), 0);
  const std::string tty = slurp(folder / ".tty");
  EXPECT_TRUE(has(tty, "of 1 s  left ............ silent")) << tty;
  EXPECT_FALSE(has(tty, "\x1b[3")) << "no colour";
}

class Loop : public Commands {
 protected:
  json loop(const std::string& more = "") {
    json j;
    sound_test::until_no_gaps([&] {
      const Ran r =
          run_program(folder, "loop --to loopback --from loopback --seconds 2 --replace --json " + more);
      EXPECT_TRUE(r.exit == 0) << r.err;
      j = json::parse(r.out, nullptr, false);
      return j.value("/input/xruns"_json_pointer, 1) + j.value("/input/dropped"_json_pointer, 1);
    });
    return j;
  }
  static const json* find(const json& j, const std::string& id) {
    for (const json& r : j["readings"]) {
      if (r["id"] == id) return &r;
    }
    return nullptr;
  }
};

TEST_F(Loop, MeasuresThePathAndTakesTheCardOut) {
  json j = loop("--out return.wav");
  ASSERT_TRUE(j.is_object());
  EXPECT_EQ(j["input"]["signal"], "sweep-wide");
  EXPECT_EQ(j["input"]["xruns"], 0);
  const json notes = j["input"]["notes"];
  EXPECT_TRUE(std::any_of(notes.begin(), notes.end(), [](const json& n) { return has(n, "bit for bit"); }))
      << "an input that is the output's own copy must be said";
  const json* delay = find(j, "audio.response.delay.left");
  ASSERT_NE(delay, nullptr);
  const double card_delay = (*delay)["value"];
  EXPECT_GT(card_delay, 0.001) << "the driver's buffers";

  Ran calibrated;
  sound_test::until_no_gaps([&] {
    calibrated = run_program(folder, "calibrate --device loopback --loop");
    return has(calibrated.err, "gaps") ? 1 : 0;
  });
  ASSERT_EQ(calibrated.exit, 0) << calibrated.err;
  j = loop();
  for (const std::string side : {".left", ".right"}) {
    EXPECT_NEAR((*find(j, "audio.response.delay" + side))["value"], 0.0, 1e-5);
    for (const json& y : (*find(j, "audio.response" + side))["value"]["y"]) EXPECT_NEAR(y, 0.0, 0.05);
  }
  EXPECT_TRUE(has(j["input"]["calibration"], "JACK: loopback"));
}

TEST_F(Loop, ASignalOfFewFrequenciesGivesNoResponseElsewhere) {
  // What a tone's return holds at other frequencies is the recorder's rounding; it is no response.
  const json j = loop("--signal tone-1k --level -20dBFS");
  const json* response = find(j, "audio.response.left");
  ASSERT_NE(response, nullptr);
  if (response->contains("value") && (*response)["value"].is_object()) {
    for (const json& y : (*response)["value"]["y"]) EXPECT_NEAR(y, 0.0, 0.1);
  }
  EXPECT_NEAR((*find(j, "audio.tone.level.left"))["value"], -20.0, 0.01);
}

}  // namespace
