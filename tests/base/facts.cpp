#include <gtest/gtest.h>

#include <linebench/base/error.hpp>
#include <linebench/base/facts.hpp>
#include <nlohmann/json.hpp>

namespace {
using namespace linebench;

TEST(Facts, GoThroughJsonAndBack) {
  CaptureFacts f;
  f.source = "counter 2.wav";
  f.sample_rate_hz = 44100;
  f.channels = 2;
  f.frames = 88200;
  f.clock_error_ppm = -12.5;
  f.xruns = 3;
  f.interrupted = true;
  f.notes = {"the card was pulled after 2 s"};
  const auto j = facts_to_json(f);
  EXPECT_DOUBLE_EQ(j.at("duration").get<double>(), 2.0);
  EXPECT_FALSE(j.contains("full_scale_v"));
  const CaptureFacts g = facts_from_json(j);
  EXPECT_EQ(g.source, f.source);
  EXPECT_EQ(g.frames, f.frames);
  EXPECT_EQ(g.clock_error_ppm, f.clock_error_ppm);
  EXPECT_EQ(g.full_scale_v, std::nullopt);
  EXPECT_EQ(g.notes, f.notes);
  EXPECT_TRUE(g.tainted());
}

TEST(Facts, WrongTypeNamesTheKey) {
  try {
    (void)facts_from_json({{"xruns", "many"}});
    FAIL() << "no error";
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Unusable);
    EXPECT_NE(std::string(e.what()).find("xruns"), std::string::npos);
  }
}

}  // namespace
