// Only what the signal sent can show may be wanting; what it is sent for must not be.
#include <gtest/gtest.h>

#include <linebench/base/error.hpp>
#include <linebench/judge/limits.hpp>

namespace {

using namespace linebench;
using judge::Asked;
using judge::Overall;

Asked asked_of(const char* signal) { return judge::asked_of(signals::load_recipe(signal)); }

const judge::LimitSet& speech() {
  static const judge::LimitSet set = judge::load_limit_set("speech-path");
  return set;
}

Overall verdict(Readings r, const Asked& asked = {}) {
  judge::judge(r, speech(), asked);
  return judge::overall(r, speech(), asked);
}

// What every set requires of any capture, within limits.
Readings basics() {
  return {text_reading("audio.signal", "present"), number_reading("audio.level.rms", -30, 0.01),
          number_reading("audio.level.dc", 0, 1e-5), number_reading("audio.clip.samples", 0, std::nullopt),
          number_reading("audio.dropout.count", 0, std::nullopt)};
}
Readings with(Readings more) {
  Readings all = basics();
  all.insert(all.end(), more.begin(), more.end());
  return all;
}
const Reading no_hum = unmeasurable("audio.hum.level", "hidden under the signal", -54.0);  // limit is -58

TEST(Asked, HumUnderSpeechTransmissionNoiseIsNotWanting) {
  EXPECT_EQ(verdict(with({no_hum, number_reading("audio.sti", 0.9, 0.02)}), asked_of("stipa")),
            Overall::Pass);
  // The same with nothing known of what was sent stays open.
  EXPECT_EQ(verdict(with({no_hum, number_reading("audio.sti", 0.9, 0.02)})), Overall::Incomplete);
  // Under a steady tone hum can be seen, and must be.
  EXPECT_EQ(verdict(with({no_hum}), asked_of("tone-1k")), Overall::Incomplete);
}

TEST(Asked, WhatTheSignalIsSentForIsRequired) {
  EXPECT_EQ(verdict(with({no_hum}), asked_of("stipa")), Overall::Incomplete);
  EXPECT_EQ(verdict(with({no_hum, unmeasurable("audio.sti", "too short")}), asked_of("stipa")),
            Overall::Incomplete);
  const Reading response =
      curve_reading("audio.response", {{300, 1000, 3400}, {0, 0, 0}, "Hz", "dB", {}}, 0.1);
  const Readings rest = {number_reading("audio.response.gain", 0, 0.1),
                         number_reading("audio.response.polarity", 1, std::nullopt)};
  Readings all = with({no_hum, response});
  all.insert(all.end(), rest.begin(), rest.end());
  EXPECT_EQ(verdict(all, asked_of("sweep-speech")), Overall::Pass);
  Readings without = with({no_hum});
  without.insert(without.end(), rest.begin(), rest.end());
  EXPECT_EQ(verdict(without, asked_of("sweep-speech")), Overall::Incomplete);
}

TEST(Asked, WhatIsMeasuredAllTheSameIsJudged) {
  EXPECT_EQ(
      verdict(with({number_reading("audio.hum.level", -40, 0.1), number_reading("audio.sti", 0.9, 0.02)}),
              asked_of("stipa")),
      Overall::Fail);
}

TEST(Asked, TheReaderIsToldWhy) {
  Readings r = with({no_hum, number_reading("audio.sti", 0.9, 0.02)});
  judge::judge(r, speech(), asked_of("stipa"));
  EXPECT_NE(find_reading(r, "audio.hum.level")->reason.find("not asked of the signal stipa"),
            std::string::npos);
}

TEST(Asked, AComparisonOfSentAndReturnedIsAskedForTheResponseAlone) {
  const Asked asked{.purposes = {"audio.response"}, .only = {"audio.response"}};
  const Reading response =
      curve_reading("audio.response", {{300, 1000, 3400}, {0, 0, 0}, "Hz", "dB", {}}, 0.1);
  const Readings good = {response, number_reading("audio.response.gain", 0, 0.1),
                         number_reading("audio.response.polarity", 1, std::nullopt)};
  EXPECT_EQ(verdict(good, asked), Overall::Pass);
  EXPECT_EQ(verdict({unmeasurable("audio.response", "not in the return")}, asked), Overall::Incomplete);
}

TEST(Asked, KnownLevelJudgesTheGainAndNotTheSender) {
  Asked asked = asked_of("tone-1k");
  const auto path = [&](double gain) {
    return with({number_reading("audio.tone.level", -30 + gain, 0.01),
                 number_reading("audio.tone.gain", gain, 0.01), number_reading("audio.thd", 0.1, 0.01),
                 number_reading("audio.thd_n", 0.1, 0.01), number_reading("audio.snr", 60, 0.1),
                 unmeasurable("audio.hum.level", "none", -120.0)});
  };
  EXPECT_EQ(verdict(path(0), asked), Overall::Fail);  // -30 dBFS is not the alignment level
  asked.level_known = true;
  EXPECT_EQ(verdict(path(0), asked), Overall::Pass);
  EXPECT_EQ(verdict(path(-6.1), asked), Overall::Fail);
  EXPECT_EQ(verdict(path(6.1), asked), Overall::Fail);
}

TEST(Asked, NoSignalFailsWhereOneWasSentAndStaysOpenElsewhere) {
  Readings r = with({unmeasurable("audio.hum.level", "none", -120.0)});
  r[0] = text_reading("audio.signal", "none", "all samples are zero");
  EXPECT_EQ(verdict(r), Overall::Incomplete);
  EXPECT_EQ(verdict(r, asked_of("silence")), Overall::Fail);
  r[0] = text_reading("audio.signal", "idle");
  EXPECT_EQ(verdict(r), Overall::Pass);  // an idle path may be judged by its noise and hum
}

TEST(Asked, ASideNothingWasSentToMayBeSilent) {
  Asked asked = asked_of("left-right");
  asked.unsent = {".right"};
  EXPECT_EQ(judge::claim_on("audio.level.rms.right", true, asked), judge::Claim::NotAsked);
  EXPECT_EQ(judge::claim_on("audio.level.rms.left", true, asked), judge::Claim::Required);
}

TEST(Asked, TheGapsOfASignalAreNoFault) {
  Readings r = with({unmeasurable("audio.hum.level", "none", -120.0)});
  r[4] = number_reading("audio.dropout.count", 2, std::nullopt);
  r.push_back(number_reading("audio.noise.a", -80, 0.1));
  EXPECT_EQ(verdict(r, asked_of("silence")), Overall::Pass);
  EXPECT_EQ(verdict(r, asked_of("tone-1k")), Overall::Fail);
}

TEST(Asked, EveryShippedSignalIsSentForSomethingAndHidesNoneOfIt) {
  for (const auto& recipe : signals::list_recipes().recipes) {
    if (recipe.kind->medium != signals::Medium::Audio || recipe.kind->name == "stepped-tones") continue;
    Asked asked = judge::asked_of(recipe);
    asked.level_known = true;  // without it no gain can be asked for
    EXPECT_FALSE(asked.purposes.empty()) << recipe.name;
    for (const auto& id : asked.purposes)
      EXPECT_EQ(judge::claim_on(id, false, asked), judge::Claim::Required) << recipe.name << " " << id;
  }
}

TEST(LimitSets, ABrokenOneIsNamedAndTheOthersListed) {
  const auto list = judge::list_limit_sets();
  EXPECT_TRUE(list.problems.empty());
  EXPECT_EQ(list.sets.size(), judge::limit_set_names().size());
}

// A whistle on a path that nothing is sent along is no test tone that loses level: it is judged as noise is,
// at the set's 40 dB under line-up.
TEST(Asked, WhereNothingIsSentAToneIsNoise) {
  const auto judged = [](double dbfs, bool idle) {
    Readings r =
        with({number_reading("audio.hum.level", -90, 0.1), number_reading("audio.tone.level", dbfs, 0.01),
              number_reading("audio.thd", 9, 0.1), number_reading("audio.snr", 20, 0.1)});
    Asked asked;
    asked.idle = idle;
    judge::judge(r, speech(), asked);
    return r;
  };
  const Readings whistle = judged(-45, true);
  EXPECT_EQ(judge::side(*find_reading(whistle, "audio.tone.level")), judge::Side::High);
  EXPECT_EQ(find_reading(whistle, "audio.tone.level")->limit->max, -58.0);
  for (const char* sent_only : {"audio.thd", "audio.snr"})
    EXPECT_EQ(find_reading(whistle, sent_only)->verdict, Verdict::Info) << sent_only;
  EXPECT_EQ(find_reading(judged(-70, true), "audio.tone.level")->verdict, Verdict::Pass);
  EXPECT_EQ(judge::side(*find_reading(judged(-45, false), "audio.tone.level")), judge::Side::Low);
}

}  // namespace
