// What watching costs in memory over hours; in processor time: tests/cost.
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <linebench/live/board.hpp>
#include <nlohmann/json.hpp>
#include <string>

#include "feeding.hpp"
#include "support/frame_synth.hpp"

namespace {

using namespace linebench;

std::size_t resident_kb() {
  std::ifstream in("/proc/self/status");
  for (std::string line; std::getline(in, line);) {
    if (line.starts_with("VmRSS:")) return std::stoul(line.substr(6));
  }
  return 0;
}

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr int usual_s =
    8 * 60;  // slow, and what allocates more than it frees is told by the sanitizer itself
#else
constexpr int usual_s = 10 * 60;
#endif

// Ten minutes of stream here; LINEBENCH_TEST_LONG=1 makes it 24 hours.
TEST(LiveCost, MemoryDoesNotGrowWithTheStream) {
  const bool whole_day = std::getenv("LINEBENCH_TEST_LONG") != nullptr;
  const int rounds = (whole_day ? 24 * 3600 : usual_s) / 10;
  synth::Samples x(synth::count(10, 16000));
  synth::add_sine(x, 16000, 50.02, -40);
  synth::add_noise(x, -60, 1);
  live::Board board;
  live::AudioMeter meter(feeding::facts(16000, 1), {});
  std::size_t early = 0;
  for (int i = 0; i < rounds; ++i) {
    feeding::feed(meter, {x}, 320, [&](const live::AudioView& v) { board.publish(v); });
    if (i == 35) early = resident_kb();  // the five minutes of history are full
    if (i % 60 == 0 && i > 0) (void)live::traces_to_json(board.look(), board.history());
  }
  const std::size_t late = resident_kb();
  std::printf("  %d s of stream: %zu kB after 6 minutes, %zu kB at the end\n", rounds * 10, early, late);
  EXPECT_LT(late, early + (whole_day ? 1024 : 256));
}

// Narrow pictures, so that a day of them goes by in minutes; what is kept of them has the same length.
TEST(LiveCost, MemoryDoesNotGrowWithThePictures) {
  const bool whole_day = std::getenv("LINEBENCH_TEST_LONG") != nullptr;
  constexpr unsigned rate = 5;  // what is kept goes by time
  const std::uint64_t total = static_cast<std::uint64_t>(rate) * (whole_day ? 24 * 3600 : 7 * 60);
  frame_synth::Scene scene;
  scene.width = 96;
  scene.line = frame_synth::bars(0.75, 0.75, 96);
  scene.hum_percent = 3;
  scene.noise = 2;
  std::vector<capture::Frame> frames;
  frame_synth::Source source(scene, 25, 1);
  for (capture::Frame f; source.read(f);) frames.push_back(f);
  live::Board board;
  capture::FrameFormat format = scene.format();
  format.frame_rate_hz = rate;
  live::PictureMeter meter(format, {});
  std::size_t early = 0;
  for (std::uint64_t n = 0; n < total; ++n) {
    capture::Frame f = frames[static_cast<std::size_t>(n) % frames.size()];
    f.number = n;
    if (meter.push(f)) board.publish(meter.view());
    if (n == rate * 330U) early = resident_kb();
    if (n % 1500 == 1499) (void)live::traces_to_json(board.look(), board.history());
  }
  const std::size_t late = resident_kb();
  std::printf("  %llu s of pictures: %zu kB after 5.5 minutes, %zu kB at the end\n",
              static_cast<unsigned long long>(total / rate), early, late);
  EXPECT_LT(late, early + 1024);
}

}  // namespace
