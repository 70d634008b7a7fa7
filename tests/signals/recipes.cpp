// Recipes: all shipped ones load and can be made; wrong ones are refused in one line that names file, line
// and key.
#include <cmath>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/signals/level.hpp>
#include <set>
#include <where.hpp>

#include "support_signals.hpp"

namespace {

using namespace linebench::signals;
using linebench::Error;
using linebench::Exit;

/// Keeps the user's own recipes of whoever runs the tests out of them.
class Recipes : public ::testing::Test {
 protected:
  Recipes() {
    setenv("LINEBENCH_HOME", home_.path().c_str(), 1);
    setenv("LINEBENCH_SHARE", LINEBENCH_SOURCE_DIR, 1);
  }
  ~Recipes() override {
    unsetenv("LINEBENCH_HOME");
    unsetenv("LINEBENCH_SHARE");
  }
  testing_support::TempDir home_;
};

TEST_F(Recipes, AllShippedOnesLoadAndAudioOnesCanBeMadeAtUsualRates) {
  const RecipeList list = list_recipes();
  for (const std::string& p : list.problems) ADD_FAILURE() << p;
  EXPECT_GE(list.recipes.size(), 20U);
  for (const Recipe& r : list.recipes) {
    if (r.kind->medium != Medium::Audio) continue;
    for (const double rate : {44100.0, 48000.0, 96000.0, 192000.0}) {
      AudioSignalOptions o;
      o.sample_rate_hz = rate;
      const auto source = make_audio_signal(r, o);
      EXPECT_EQ(source->facts().signal, r.name);
      EXPECT_EQ(source->facts().channels, 2);
      EXPECT_NEAR(source->facts().duration_s(), signal_seconds(r, o), 1e-4) << r.name;
      EXPECT_GT(source->facts().duration_s(), 5.0) << r.name;
    }
  }
}

// What must be there by issue 2: one recipe at least of each kind, each kind used.
TEST_F(Recipes, EveryKindHasARecipe) {
  std::set<std::string_view> used;
  for (const Recipe& r : list_recipes().recipes) used.insert(r.kind->name);
  for (const SignalKind* k : all_kinds()) EXPECT_TRUE(used.contains(k->name)) << k->name;
}

// Quiet by default: nothing but an alignment tone or a peak-rated pulse comes at -20 dBFS or above, all rise
// slowly.
TEST_F(Recipes, DefaultsCannotStartle) {
  for (const Recipe& r : list_recipes().recipes) {
    if (r.kind->medium != Medium::Audio) continue;
    const bool alignment = r.name.starts_with("alignment") || r.kind->name == "polarity-pulse";
    // What is to show what happens at nominal level says so in its name, and asks for no --loud.
    const bool nominal = r.name.ends_with("-nominal");
    EXPECT_LE(signal_level_dbfs(r), alignment ? -18 : nominal ? caution_above_dbfs : -30 + 0.01) << r.name;
    const bool own_rise = r.kind->name == "left-right" || r.kind->name == "marked-silence";
    EXPECT_GE(r.number("fade_in_seconds") + (own_rise ? 1 : 0), 0.5) << r.name;
  }
}

TEST_F(Recipes, UnknownNamesAreToldTheNearest) {
  try {
    (void)load_recipe("tone-1kk");
    FAIL();
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Usage);
    EXPECT_NE(std::string(e.what()).find("tone-1k"), std::string::npos) << e.what();
    EXPECT_EQ(std::string(e.what()).find('\n'), std::string::npos);
  }
  EXPECT_THROW((void)load_recipe("zzzzqqqq"), Error);
  EXPECT_THROW((void)load_recipe("/no/such/file.toml"), Error);
}

TEST_F(Recipes, TheUsersOwnComesBeforeTheShipped) {
  std::filesystem::create_directories(home_.path() / "signals");
  std::ofstream(home_ / "signals/tone-1k.toml") << "name='tone-1k'\ntitle='Mine'\npurpose='p'\nsource='own'"
                                                   "\nkind='sine'\nparameters.frequency_hz=1001\n";
  std::ofstream(home_ / "signals/broken.toml") << "name = ";
  EXPECT_EQ(load_recipe("tone-1k").title, "Mine");
  const RecipeList list = list_recipes();
  ASSERT_EQ(list.problems.size(), 1U);
  EXPECT_NE(list.problems[0].find("broken.toml, line 1"), std::string::npos) << list.problems[0];
  int found = 0;
  for (const Recipe& r : list.recipes) found += r.name == "tone-1k" ? 1 : 0;
  EXPECT_EQ(found, 1);
}

struct BadRecipe {
  const char* what;
  const char* toml;
  const char* expected;  ///< must be part of the line
};

const BadRecipe bad_recipes[] = {
    {"not TOML", "name = \"test\"\nthis is not\n", "line 2"},
    {"unknown key at the top", "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\ncolour=1\n",
     "'colour'"},
    {"unknown parameter",
     "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\n[parameters]\nfrequency_hz=1\nfrequencey="
     "2\n",
     "line 8: a signal of kind 'sine' has no parameter 'frequencey'; did you mean frequency_hz?"},
    {"wrong type",
     "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\n[parameters]\nfrequency_hz='1000'\n",
     "'frequency_hz' (frequency) must be a number"},
    {"number for a text", "name='test'\ntitle=3\npurpose='p'\nsource='s'\nkind='sine'\n",
     "'title' must be a text"},
    {"kind missing", "name='test'\ntitle='t'\npurpose='p'\nsource='s'\n", "'kind' is missing"},
    {"kind unknown", "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sinus'\n",
     "kind 'sinus' is unknown"},
    {"parameter missing", "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\n",
     "'frequency_hz' (frequency) is missing"},
    {"out of range",
     "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\nparameters={frequency_hz=1000, "
     "level_dbfs=6}\n",
     "'level_dbfs' is 6, but must be a number from -140 to 0 dBFS"},
    {"not a number",
     "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\nparameters={frequency_hz=nan}\n",
     "'frequency_hz' is nan"},
    {"another name than the file's", "name='other'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\n",
     "name 'other' is not the file's"},
    {"text not among those allowed",
     "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='noise'\nparameters={colour='brown'}\n",
     "must be one of white, pink"},
    {"parameters no table", "name='test'\ntitle='t'\npurpose='p'\nsource='s'\nkind='sine'\nparameters=3\n",
     "must be a table"},
    {"empty file", "", "'name' is missing"},
};

TEST_F(Recipes, WrongOnesAreRefusedInOneLine) {
  for (const BadRecipe& bad : bad_recipes) {
    const testing_support::TempDir dir;
    std::ofstream(dir / "test.toml") << bad.toml;
    try {
      (void)read_recipe(dir / "test.toml");
      ADD_FAILURE() << bad.what << " was taken";
    } catch (const Error& e) {
      const std::string line = e.what();
      EXPECT_EQ(e.exit(), Exit::Unusable) << bad.what;
      EXPECT_EQ(line.find('\n'), std::string::npos) << line;
      EXPECT_NE(line.find("test.toml"), std::string::npos) << line;
      EXPECT_NE(line.find(bad.expected), std::string::npos) << bad.what << ": " << line;
    }
  }
}

TEST_F(Recipes, OptionsOutOfRangeAreBadUsage) {
  const Recipe r = load_recipe("tone-1k");
  const auto refused = [&](auto change) {
    AudioSignalOptions o;
    change(o);
    EXPECT_THROW((void)make_audio_signal(r, o), Error);
  };
  refused([](AudioSignalOptions& o) { o.sample_rate_hz = 4000; });
  refused([](AudioSignalOptions& o) { o.sample_rate_hz = NAN; });
  refused([](AudioSignalOptions& o) { o.sample_rate_hz = 44100.5; });
  refused([](AudioSignalOptions& o) { o.channels = 0; });
  refused([](AudioSignalOptions& o) { o.seconds = 0; });
  refused([](AudioSignalOptions& o) { o.seconds = NAN; });
  refused([](AudioSignalOptions& o) { o.level_dbfs = 0.5; });
  refused([](AudioSignalOptions& o) { o.level_dbfs = NAN; });
  refused([](AudioSignalOptions& o) { o.fade_seconds = -1; });
  refused([](AudioSignalOptions& o) {
    o.channels = 1;
    o.route = Route::Right;
  });
  // The top of a 20 kHz sweep does not fit below half of 32 kHz; noise is cut and says so.
  AudioSignalOptions low;
  low.sample_rate_hz = 32000;
  EXPECT_THROW((void)make_audio_signal(load_recipe("sweep-wide"), low), Error);
  EXPECT_EQ(make_audio_signal(load_recipe("noise-pink"), low)->facts().notes.size(), 1U);
  EXPECT_EQ(make_audio_signal(load_recipe("steps-wide"), low)->facts().notes.size(), 1U);
}

}  // namespace
