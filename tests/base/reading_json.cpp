// A reading written to JSON and read back is the same reading.
#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/reading_json.hpp>
#include <nlohmann/json.hpp>

namespace {

using namespace linebench;
using nlohmann::json;

Reading there_and_back(const Reading& r) { return reading_from_json(json::parse(reading_to_json(r).dump())); }

TEST(ReadingJson, NumberKeepsEveryDigitAndItsLimit) {
  Reading r = number_reading("audio.hum.level.left", -61.23456789012345, 0.1234567890123, "from 1.0 s");
  r.limit = Limit{.min = std::nullopt, .max = -58.0, .allowed = {}, .mask = {}, .source = "common practice"};
  r.verdict = Verdict::Pass;
  const Reading b = there_and_back(r);
  EXPECT_EQ(b.id, r.id);
  EXPECT_EQ(b.label, r.label);
  EXPECT_EQ(b.number(), r.number());
  EXPECT_EQ(b.uncertainty, r.uncertainty);
  EXPECT_EQ(b.verdict, Verdict::Pass);
  EXPECT_EQ(b.limit->max, -58.0);
  EXPECT_FALSE(b.limit->min.has_value());
  EXPECT_EQ(b.limit->source, "common practice");
  EXPECT_EQ(b.reason, "from 1.0 s");
}

TEST(ReadingJson, CurveWithMask) {
  Reading r = curve_reading("audio.response", {{100, 1000}, {-1.5, 0}, "Hz", "dB", {0.1, 0.2}}, 0.2);
  r.limit = Limit{};
  r.limit->mask = {{300, -3.0, 3.0}, {3400, std::nullopt, 3.0}};
  const Reading b = there_and_back(r);
  EXPECT_EQ(b.curve().x, r.curve().x);
  EXPECT_EQ(b.curve().y, r.curve().y);
  EXPECT_EQ(b.curve().uncertainty, r.curve().uncertainty);
  ASSERT_EQ(b.limit->mask.size(), 2u);
  EXPECT_EQ(b.limit->mask[0].min, -3.0);
  EXPECT_FALSE(b.limit->mask[1].min.has_value());
}

TEST(ReadingJson, UnmeasurableKeepsReasonAndBound) {
  const Reading b = there_and_back(unmeasurable("audio.hum.level", "nothing found", -92.5));
  EXPECT_FALSE(b.measured());
  EXPECT_EQ(b.verdict, Verdict::Unmeasurable);
  EXPECT_EQ(b.reason, "nothing found");
  EXPECT_EQ(b.at_most, -92.5);
}

TEST(ReadingJson, WhatCannotBeAReadingIsNamed) {
  EXPECT_THROW((void)reading_from_json(json::parse(R"({"value": 1})")), Error);
  EXPECT_THROW((void)reading_from_json(json::parse(R"([1, 2])")), Error);
  try {
    (void)reading_from_json(json::parse(R"({"id": "audio.thd", "value": {"x": [1], "y": [1, 2]}})"));
    FAIL() << "a curve of unequal lengths was taken";
  } catch (const Error& e) {
    EXPECT_NE(std::string(e.what()).find("audio.thd"), std::string::npos);
  }
  EXPECT_THROW((void)reading_from_json(json::parse(R"({"id": "audio.thd", "verdict": "good"})")), Error);
  EXPECT_THROW((void)reading_from_json(json::parse(R"({"id": "audio.thd", "uncertainty": "0.1"})")), Error);
}

}  // namespace
