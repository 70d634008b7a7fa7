// When the virtual sound card must be there.
#pragma once

#include <gtest/gtest.h>

#include <cstdio>
#include <cstdlib>
#include <linebench/capture/sound_device.hpp>
#include <string>

namespace sound_test {

inline bool wanted() {
  const char* v = std::getenv("LINEBENCH_TEST_SOUND");
  return v != nullptr && std::string(v) == "1";
}
inline bool card_there() {
  const auto system = linebench::capture::open_sound_system();
  for (const auto& d : system->devices()) {
    if (d.identity() == "JACK: loopback") return true;
  }
  return false;
}

/// Takes in until there are no gaps, three times at most, and says each that had some: the card has no
/// real-time priority and a busy machine makes it late. What the last one holds is the test's to check.
/// @param take takes in once and returns the number of gaps.
template <typename Take>
void until_no_gaps(Take&& take) {
  for (int round = 1; round <= 3; ++round) {
    const auto gaps = take();
    if (gaps == 0) return;
    std::printf("  %llu gaps in round %d: the machine is busy\n", static_cast<unsigned long long>(gaps),
                round);
  }
}

}  // namespace sound_test

/// In a test or SetUp(): skips loudly when nobody promised a card, fails when one was promised and is not
/// there.
#define REQUIRE_SOUND_CARD()                                                                            \
  if (!sound_test::wanted()) {                                                                          \
    GTEST_SKIP() << "NOT TESTED: no sound card; run under tests/sound_card.sh (tests/run_all.sh does)"; \
  }                                                                                                     \
  ASSERT_TRUE(sound_test::card_there()) << "LINEBENCH_TEST_SOUND=1 promises a sound card and there is none"
