// Which test a fault on site is followed with.
#include <gtest/gtest.h>

#include "../../src/check/site_state.hpp"

namespace {

using namespace linebench;

check::SiteState hum_on(bool video, const char* trial) {
  check::SiteState s;
  s.video = video;
  s.path.parts = {{"station", ""}, {"hub", ""}};
  s.captures.emplace_back();
  diagnose::NextTest t;
  t.id = trial;
  t.notation = std::string(trial) + "=gone";
  t.medium = diagnose::load_fault_book().sign(trial)->trial->medium;
  t.minutes = 5;
  t.bits = 1;
  s.diagnosis.next_test = t;
  return s;
}

TEST(Proposals, TransformerOfTheOtherMediumIsNotAskedFor) {
  EXPECT_FALSE(check::propose(hum_on(false, "isolate-video")).has_value());
  EXPECT_FALSE(check::propose(hum_on(false, "terminations")).has_value());
  EXPECT_TRUE(check::propose(hum_on(false, "isolate-audio")).has_value());
  EXPECT_FALSE(check::propose(hum_on(true, "isolate-audio")).has_value());
  EXPECT_TRUE(check::propose(hum_on(true, "isolate-video")).has_value());
  EXPECT_TRUE(check::propose(hum_on(true, "earth-points")).has_value());
  check::SiteState camera = hum_on(true, "isolate-audio");
  camera.left_out.insert("capture-audio");
  EXPECT_TRUE(check::propose(camera).has_value()) << "its sound was taken in too";
}

// The trials that are told apart are those of the fault book.
TEST(Proposals, TrialsAreInTheBook) {
  const diagnose::FaultBook book = diagnose::load_fault_book();
  for (const char* id : {"isolate-video", "terminations", "cable-print", "isolate-audio", "video-off",
                         "phones-away", "neighbour-tone"})
    EXPECT_NE(book.sign(id), nullptr) << id;
}

}  // namespace
