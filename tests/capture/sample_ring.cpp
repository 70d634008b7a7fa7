// The ring between the driver's thread and ours.
#include <gtest/gtest.h>

#include <linebench/capture/sample_ring.hpp>
#include <thread>
#include <vector>

namespace {

using linebench::capture::SampleRing;

TEST(SampleRing, KeepsOrderOverTheSeamAndNeverOverwrites) {
  SampleRing ring(6);
  EXPECT_EQ(ring.capacity(), 8U);
  float next = 0;
  float expected = 0;
  for (int round = 0; round < 100; ++round) {
    std::vector<float> in(5);
    for (float& v : in) v = next++;
    ASSERT_EQ(ring.write(in), 5U);
    std::vector<float> out(9);
    ASSERT_EQ(ring.read(out), 5U);
    for (int i = 0; i < 5; ++i) ASSERT_EQ(out[static_cast<std::size_t>(i)], expected++);
  }
  const std::vector<float> much(20, 1.0F);
  EXPECT_EQ(ring.write(much), 8U);
  EXPECT_EQ(ring.write(much), 0U);
  EXPECT_EQ(ring.writable(), 0U);
}

TEST(SampleRing, TwoThreadsSeeEverySampleOnceInOrder) {
  constexpr std::size_t total = 2'000'000;
  SampleRing ring(1024);
  std::thread writer([&] {
    std::vector<float> block(97);
    for (std::size_t at = 0; at < total;) {
      const std::size_t n = std::min(block.size(), total - at);
      for (std::size_t i = 0; i < n; ++i) block[i] = static_cast<float>((at + i) % 65536);
      const std::size_t done = ring.write(std::span(block).first(n));
      at += done;
      if (done == 0) std::this_thread::yield();
    }
  });
  std::vector<float> block(61);
  std::size_t wrong = 0;
  for (std::size_t at = 0; at < total;) {
    const std::size_t n = ring.read(block);
    for (std::size_t i = 0; i < n; ++i) wrong += block[i] != static_cast<float>((at + i) % 65536) ? 1 : 0;
    at += n;
    if (n == 0) std::this_thread::yield();
  }
  writer.join();
  EXPECT_EQ(wrong, 0U);
}

}  // namespace
