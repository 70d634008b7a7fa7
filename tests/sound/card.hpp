// When the virtual sound card must be there.
#pragma once

#include <gtest/gtest.h>

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

}  // namespace sound_test

/// In a test or SetUp(): skips loudly when nobody promised a card, fails when one was promised and is not
/// there.
#define REQUIRE_SOUND_CARD()                                                                            \
  if (!sound_test::wanted()) {                                                                          \
    GTEST_SKIP() << "NOT TESTED: no sound card; run under tests/sound_card.sh (tests/run_all.sh does)"; \
  }                                                                                                     \
  ASSERT_TRUE(sound_test::card_there()) << "LINEBENCH_TEST_SOUND=1 promises a sound card and there is none"
