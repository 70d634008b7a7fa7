// The files: every shipped set loads and names its sources; every slip of the pen is said with its place.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <linebench/judge/limits.hpp>
#include <set>

namespace {

using namespace linebench;
namespace fs = std::filesystem;

TEST(LimitSets, ShippedSetsLoadAndNameTheirSources) {
  std::set<std::string> names;
  for (const auto& file : fs::directory_iterator(share_dir() / "signals" / "limits")) {
    const std::string name = file.path().stem().string();
    names.insert(name);
    const auto set = judge::load_limit_set(file.path().string());
    EXPECT_FALSE(set.title.empty()) << name;
    EXPECT_EQ(set.name, name);
    for (const auto& e : set.entries) {
      EXPECT_FALSE(e.limit.source.empty()) << name << " " << e.id;
      // A source is a standard's tag or says that it is practice; nothing vague.
      const bool practice = e.limit.source.find("common practice") != std::string::npos;
      const bool standard = std::any_of(e.limit.source.begin(), e.limit.source.end(),
                                        [](char c) { return c >= '0' && c <= '9'; });
      EXPECT_TRUE(practice || standard) << name << " " << e.id << ": " << e.limit.source;
      EXPECT_NE(find_kind(e.id), nullptr) << e.id;
    }
  }
  for (const char* want : {"speech-path", "wideband-path", "consumer-feed", "professional-feed"}) {
    EXPECT_TRUE(names.contains(want)) << want;
  }
}

// 0 dBV is 2.2185 dBu (20 lg(1/sqrt(0.6))): -10 dBV is -7.78 dBu; the gap to +4 dBu is 11.78 dB. Programme
// lies 5 dB under line-up: -23 LUFS [EBU R 128] against -18 dBFS [EBU R 68].
TEST(LimitSets, FeedsStandRoundTheirNominalLevels) {
  const auto middle = [](const char* name) {
    const auto set = judge::load_limit_set(name);
    for (const auto& e : set.entries) {
      if (e.id == "audio.programme.voltage") return (*e.limit.min + *e.limit.max) / 2;
    }
    return 1e9;
  };
  EXPECT_NEAR(middle("consumer-feed"), -12.78, 0.1);
  EXPECT_NEAR(middle("professional-feed"), -1.0, 0.1);
}

struct Slip {
  const char* text;
  const char* says;  // part of the message
  const char* line;
};

TEST(LimitSets, SlipsAreSaidInOneLineWithTheirPlace) {
  const std::string good = "[[limit]]\nid = \"audio.thd\"\nmax = 3\nsource = \"x\"\n";
  ASSERT_NO_THROW((void)judge::parse_limit_set("title = \"t\"\n" + good, "a", "a.toml"));
  const Slip slips[] = {
      {"title = \"t\"\n[[limit]]\nid = \"audio.thdd\"\nmax = 3\nsource = \"x\"\n", "audio.thdd", "line 3"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd.left\"\nmax = 3\nsource = \"x\"\n", "audio.thd.left",
       "line 3"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmaxx = 3\nsource = \"x\"\n", "maxx", "line 4"},
      {"titel = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = 3\nsource = \"x\"\n", "titel", "line 1"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = 3\n", "source", "line 2"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = 3\nsource = \"\"\n", "source", "line 5"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = \"3\"\nsource = \"x\"\n", "max", "line 4"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = nan\nsource = \"x\"\n", "max", "line 4"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmin = 4\nmax = 3\nsource = \"x\"\n", "swap", "line 2"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = 3\nunless = \"audio.thdd\"\nsource = \"x\"\n",
       "audio.thdd", "line 5"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.hum.kind\"\nallowed = [\"none\"]\nunder_programme = "
       "true\nsource = \"x\"\n",
       "under_programme", "line 5"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nsource = \"x\"\n", "exactly one", "line 2"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.hum.kind\"\nallowed = \"none\"\nsource = \"x\"\n", "allowed",
       "line 4"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.thd\"\nmax = 3\nrequired = 1\nsource = \"x\"\n", "required",
       "line 5"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.response\"\nmask = [{hz = 300, min = -3}]\nsource = \"x\"\n",
       "two corners", "line 4"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.response\"\nmask = [{hz = 300, min = -3}, {hz = 200, min = "
       "-3}]\nsource = \"x\"\n",
       "go up", "line 4"},
      {"title = \"t\"\n[[limit]]\nid = \"audio.response\"\nmask = [{hz = 300, mim = -3}, {hz = 400, min = "
       "-3}]\nsource = \"x\"\n",
       "mim", "line 4"},
      {"title = \"t\"\n", "no [[limit]]", "a.toml"},
      {"title = \"t\"\nlimit = 3\n", "no [[limit]]", "a.toml"},
      {"title = \"t\n", "limit set a.toml", "line 1"},
  };
  for (const Slip& slip : slips) {
    try {
      (void)judge::parse_limit_set(slip.text, "a", "a.toml");
      ADD_FAILURE() << "taken: " << slip.text;
    } catch (const Error& e) {
      const std::string line = e.what();
      EXPECT_EQ(e.exit(), Exit::Unusable);
      EXPECT_NE(line.find(slip.says), std::string::npos) << line;
      EXPECT_NE(line.find(slip.line), std::string::npos) << line;
      EXPECT_EQ(line.find('\n'), std::string::npos) << line;
    }
  }
}

TEST(LimitSets, TwiceTheSameIdIsAnError) {
  const std::string one = "[[limit]]\nid = \"audio.thd\"\nmax = 3\nsource = \"x\"\n";
  EXPECT_THROW((void)judge::parse_limit_set("title = \"t\"\n" + one + one, "a", "a.toml"), Error);
}

TEST(LimitSets, UnknownNameListsThoseThereAre) {
  try {
    (void)judge::load_limit_set("speach-path");
    FAIL();
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Usage);
    EXPECT_NE(std::string(e.what()).find("speech-path, wideband-path"), std::string::npos) << e.what();
  }
  EXPECT_THROW((void)judge::load_limit_set(""), Error);
  EXPECT_THROW((void)judge::load_limit_set("/no/such.toml"), Error);
}

TEST(LimitSets, UsersSetsAreFoundAndComeFirst) {
  const fs::path home = fs::temp_directory_path() / "linebench-limit-sets-test";
  fs::create_directories(home / "limits");
  std::ofstream(home / "limits" / "speech-path.toml")
      << "title = \"mine\"\n[[limit]]\nid = \"audio.thd\"\nmax = 9\nsource = \"the customer\"\n";
  setenv("LINEBENCH_HOME", home.c_str(), 1);
  EXPECT_EQ(judge::load_limit_set("speech-path").title, "mine");
  const auto names = judge::limit_set_names();
  EXPECT_EQ(std::count(names.begin(), names.end(), "speech-path"), 1);
  EXPECT_TRUE(std::is_sorted(names.begin(), names.end()));
  unsetenv("LINEBENCH_HOME");
  fs::remove_all(home);
}

}  // namespace
