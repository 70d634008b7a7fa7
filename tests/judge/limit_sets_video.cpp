// The shipped sets for composite video say what the standards' table says.
#include <gtest/gtest.h>

#include <linebench/judge/limits.hpp>
#include <linebench/standards/video.hpp>
#include <optional>
#include <string>

namespace {

using namespace linebench;
using standards::Spec;
using standards::Status;
using standards::VideoStandard;

const judge::LimitEntry& entry(const judge::LimitSet& set, const std::string& id) {
  for (const auto& e : set.entries) {
    if (e.id == id) return e;
  }
  throw std::out_of_range(set.name + " has no " + id);
}

// `sign` -1: the standard counts downwards (sync is below blanking), the reading upwards.
void expect_spec(const judge::LimitSet& set, const std::string& id, const Spec& spec, double sign = 1) {
  SCOPED_TRACE(set.name + " " + id);
  const judge::LimitEntry& e = entry(set, id);
  ASSERT_TRUE(e.limit.min && e.limit.max);
  const double a = sign * spec.min();
  const double b = sign * spec.max();
  EXPECT_NEAR(*e.limit.min, std::min(a, b), 1e-4);
  EXPECT_NEAR(*e.limit.max, std::max(a, b), 1e-4);
  // A figure from memory may not pass as one that was read.
  if (spec.status == Status::Memory || spec.tolerance_status == Status::Memory) {
    EXPECT_NE(e.limit.source.find("from memory"), std::string::npos) << e.limit.source;
  }
}

TEST(VideoLimitSets, FollowTheStandardsTable) {
  const struct {
    const char* name;
    const VideoStandard& s;
  } sets[] = {{"composite-625", standards::video_625},
              {"composite-525", standards::video_525},
              {"composite-525-no-setup", standards::video_525_no_setup}};
  for (const auto& [name, s] : sets) {
    const auto set = judge::load_limit_set(name);
    expect_spec(set, "video.sync.amplitude", s.sync_mv, -1);
    expect_spec(set, "video.sync.width", s.sync_width_us);
    expect_spec(set, "video.front_porch", s.front_porch_us);
    expect_spec(set, "video.burst.amplitude", s.burst_pp_mv);
    expect_spec(set, "video.burst.start", s.burst_start_us);
    expect_spec(set, "video.burst.cycles", s.burst_cycles);
    expect_spec(set, "video.equalising.width", s.equalising_width_us);
    expect_spec(set, "video.broad.width", s.broad_width_us);
    expect_spec(set, "video.setup", s.black_mv);
    EXPECT_NEAR(*entry(set, "video.white").limit.max, s.white_mv.max(), 1e-4);
    EXPECT_EQ(*entry(set, "video.lines_per_frame").limit.min, s.lines_per_frame);
    // 0.02 % round the nominal rates, 50 ppm round the subcarrier.
    for (const auto& [id, nominal, part] :
         {std::tuple{"video.line.frequency", s.line_rate_hz.value(), 2e-4},
          std::tuple{"video.field.frequency", s.field_rate_hz(), 2e-4},
          std::tuple{"video.burst.frequency", s.subcarrier_hz.value(), 5e-5}}) {
      const auto& l = entry(set, id).limit;
      EXPECT_NEAR(*l.min, nominal * (1 - part), nominal * part * 0.01) << id;
      EXPECT_NEAR(*l.max, nominal * (1 + part), nominal * part * 0.01) << id;
    }
  }
}

// What the sound card's view is judged by is the same as for samples.
TEST(VideoLimitSets, LowbandSetsRepeatTheOthers) {
  for (const char* lines : {"625", "525"}) {
    const auto low = judge::load_limit_set(std::string("lowband-") + lines);
    const auto full = judge::load_limit_set(std::string("composite-") + lines);
    for (const auto& e : low.entries) {
      if (e.id == "video.vertical_sync") continue;
      const auto& same = entry(full, e.id);
      EXPECT_EQ(e.limit.min, same.limit.min) << e.id;
      EXPECT_EQ(e.limit.max, same.limit.max) << e.id;
      EXPECT_EQ(e.limit.source, same.limit.source) << e.id;
    }
  }
}

}  // namespace
