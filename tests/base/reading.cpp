#include <gtest/gtest.h>

#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/reading.hpp>
#include <set>
#include <stdexcept>
#include <string>

namespace {
using namespace linebench;

TEST(Catalogue, KnowsEveryAudioIdOfTheContract) {
  for (const char* id : {"audio.level.rms",
                         "audio.level.peak",
                         "audio.level.crest",
                         "audio.level.dc",
                         "audio.tone.frequency",
                         "audio.tone.level",
                         "audio.thd",
                         "audio.thd_n",
                         "audio.snr",
                         "audio.noise.unweighted",
                         "audio.noise.a",
                         "audio.noise.bs468",
                         "audio.hum.frequency",
                         "audio.hum.level",
                         "audio.hum.harmonic.7",
                         "audio.hum.kind",
                         "audio.whistle.frequency",
                         "audio.whistle.level",
                         "audio.phone_burst.rate",
                         "audio.clip.samples",
                         "audio.clip.level",
                         "audio.click.count",
                         "audio.dropout.count",
                         "audio.pair.polarity",
                         "audio.pair.delay",
                         "audio.pair.gain",
                         "audio.response",
                         "audio.response.delay",
                         "audio.response.polarity",
                         "audio.response.echo.delay",
                         "audio.response.echo.level",
                         "audio.sti",
                         "audio.loudness.integrated",
                         "audio.loudness.range",
                         "audio.true_peak"}) {
    EXPECT_NE(find_kind(id), nullptr) << id;
    EXPECT_NE(find_kind(std::string(id) + ".left"), nullptr) << id;
  }
  EXPECT_EQ(find_kind("audio.hum.harmonic.x"), nullptr);
  EXPECT_EQ(find_kind("audio.nonsense"), nullptr);
}

TEST(Catalogue, IdsAreUnique) {
  std::set<std::string_view> seen;
  for (const auto kinds : {audio_reading_kinds(), video_reading_kinds()}) {
    for (const ReadingKind& k : kinds) EXPECT_TRUE(seen.insert(k.id).second) << k.id;
  }
}

TEST(Reading, LabelSaysNumberAndChannel) {
  EXPECT_EQ(label_of("audio.hum.harmonic.3.left"), "Hum harmonic 3, left");
  EXPECT_EQ(label_of("audio.level.rms.ch4"), "Level (rms), channel 4");
  EXPECT_EQ(label_of("audio.level.rms"), "Level (rms)");
}

TEST(Reading, NeverShowsANumberThatIsNone) {
  const Reading r = number_reading("audio.thd", std::nan(""), 0.1);
  EXPECT_FALSE(r.measured());
  EXPECT_EQ(r.verdict, Verdict::Unmeasurable);
  EXPECT_FALSE(r.reason.empty());
  EXPECT_THROW((void)number_reading("audio.nonsense", 1, 1), std::logic_error);
}

}  // namespace
