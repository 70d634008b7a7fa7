// The fault book: the shipped one is whole, and a broken entry of a user's is named, not fatal.
#include <gtest/gtest.h>

#include <cmath>
#include <filesystem>
#include <fstream>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <linebench/diagnose/fault_book.hpp>

namespace {

using namespace linebench;
using namespace linebench::diagnose;

const std::filesystem::path shipped = share_dir() / "signals" / "faults";

TEST(FaultBook, ShippedEntriesAllRead) {
  const FaultBook book = load_fault_book({shipped});
  for (const auto& p : book.problems) ADD_FAILURE() << p;
  EXPECT_GE(book.faults.size(), 43U);
  EXPECT_EQ(book.captures.size(), 4U);
}

TEST(FaultBook, EveryFaultCanBeSeenAndTested) {
  const FaultBook book = load_fault_book({shipped});
  for (const Fault& f : book.faults) {
    const Sign* test = book.sign(f.test);
    ASSERT_NE(test, nullptr) << f.id;
    // The test that splits it must come out otherwise than where nothing is wrong.
    bool touched = false;
    bool seen = false;
    const auto look = [&](const std::vector<Effect>& effects) {
      for (const Effect& e : effects) {
        touched = touched || e.sign == f.test;
        seen = seen || !book.sign(e.sign)->trial;
      }
    };
    look(f.effects);
    for (const Variant& v : f.variants) look(v.effects);
    EXPECT_TRUE(touched) << f.id << " names the test " << f.test << " but does nothing to it";
    EXPECT_TRUE(seen) << f.id << " shows in no capture";
  }
}

TEST(FaultBook, MainsAndEarthEntriesCarryTheirCaution) {
  const FaultBook book = load_fault_book({shipped});
  for (const char* id : {"earth-loop-video", "earth-loop-audio", "earth-two-points"}) {
    ASSERT_NE(book.fault(id), nullptr);
    EXPECT_NE(book.fault(id)->caution.find("protective earth"), std::string::npos) << id;
  }
  for (const Fault& f : book.faults) {
    if (f.group == "earth" || f.group == "supply") {
      EXPECT_FALSE(f.caution.empty()) << f.id;
    }
    // No advice may lift an earth.
    for (const std::string& s : {f.remedy, f.tell_apart}) {
      EXPECT_EQ(s.find("lift the earth"), std::string::npos) << f.id;
      EXPECT_EQ(s.find("disconnect the earth"), std::string::npos) << f.id;
    }
  }
  for (const Sign& s : book.signs) {
    if (s.trial && (s.id.starts_with("earth") || s.id.starts_with("supply") || s.id.starts_with("shield"))) {
      EXPECT_FALSE(s.trial->caution.empty()) << s.id;
    }
  }
}

// What a sign is said to be made of, or to be about, is there.
TEST(FaultBook, SignsNameReadingsAndSignsThatThereAre) {
  const FaultBook book = load_fault_book({shipped});
  for (const Sign& s : book.signs) {
    for (const std::string& id : s.reads) EXPECT_NE(find_kind(id), nullptr) << s.id << ": " << id;
    for (const std::string& id : s.of) {
      const Sign* size = book.sign(id);
      ASSERT_NE(size, nullptr) << s.id << ": " << id;
      EXPECT_EQ(s.scale, Scale::Words) << s.id;
      EXPECT_TRUE(size->scale != Scale::Words && size->scale != Scale::Shift) << id << " has no power";
    }
  }
}

// Closed forms of the trade that the entries must agree with.
TEST(FaultBook, EntriesAgreeWithClosedForms) {
  const FaultBook book = load_fault_book({shipped});
  const auto effect = [&](const char* fault, const char* sign) {
    for (const Effect& e : book.fault(fault)->effects) {
      if (e.sign == sign) return e;
    }
    for (const Variant& v : book.fault(fault)->variants) {
      for (const Effect& e : v.effects) {
        if (e.sign == sign) return e;
      }
    }
    ADD_FAILURE() << fault << " " << sign;
    return Effect{};
  };
  EXPECT_NEAR(effect("termination-double", "video.sync.level").from, 20 * std::log10(2.0 / 3.0), 0.05);
  EXPECT_NEAR(effect("termination-missing", "video.sync.level").to, 20 * std::log10(2.0), 0.05);
  const double gap = 20 * std::log10(std::sqrt(0.6) * std::pow(10.0, 4.0 / 20) / std::pow(10.0, -10.0 / 20));
  EXPECT_NEAR(effect("level-consumer-into-professional", "audio.level.tone").from, -gap, 0.1);
  EXPECT_NEAR(effect("level-professional-into-consumer", "audio.level.tone").from, gap, 0.1);
}

TEST(FaultBook, UsersBrokenEntryIsNamedAndTheRestServes) {
  const auto folder = std::filesystem::temp_directory_path() / "linebench-book-test";
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  std::ofstream(folder / "mine.toml") << R"(label = "Gull on the antenna"
what = "w"
group = "pick-up"
prior = 0.01
views = ["audio"]
test = "move-cable"
tell_apart = "t"
remedy = "r"
source = "own"
[effects]
"audio.click" = {from = 1, to = 50, spread = 3}
)";
  std::ofstream(folder / "slip.toml") << "label = \"x\"\nprior = 7\n";
  std::ofstream(folder / "garbage.toml") << "= = =";
  const std::size_t before = load_fault_book({shipped}).faults.size();
  const FaultBook book = load_fault_book({shipped, folder});
  EXPECT_EQ(book.faults.size(), before + 1);
  ASSERT_NE(book.fault("mine"), nullptr);
  ASSERT_EQ(book.problems.size(), 2U);
  EXPECT_NE(book.problems[0].find("garbage.toml, line 1"), std::string::npos) << book.problems[0];
  EXPECT_NE(book.problems[1].find("slip.toml"), std::string::npos) << book.problems[1];
  std::filesystem::remove_all(folder);
}

TEST(FaultBook, SlipsAreRefusedByName) {
  const FaultBook book = load_fault_book({shipped});
  const std::string good = R"(label = "l"
what = "w"
group = "g"
prior = 0.01
views = ["audio"]
test = "move-cable"
tell_apart = "t"
remedy = "r"
source = "s"
)";
  const auto message = [&](const std::string& rest) -> std::string {
    try {
      (void)parse_fault(good + rest, "x", "x.toml", book);
    } catch (const Error& e) {
      return e.what();
    }
    return "no error";
  };
  EXPECT_NE(message("").find("no effects"), std::string::npos);
  // A point lost or a spread that no density can be worked out of would take the whole diagnosis with it.
  for (const char* slip : {"from = 7200, to = -40, spread = 3", "from = -7200, to = -40, spread = 3",
                           "from = -72, to = 40, spread = 3", "from = -72, to = -22, spread = 1e-300",
                           "from = -72, to = -22, spread = 1e300"}) {
    const std::string said = message(std::string("[effects]\n\"audio.hum.fundamental\" = {") + slip + "}\n");
    EXPECT_NE(said.find("x.toml, line 11: "), std::string::npos) << slip << ": " << said;
  }
  EXPECT_NE(message("[effects]\n\"audio.hmm\" = {from = 1, to = 2, spread = 1}\n").find("audio.hmm"),
            std::string::npos);
  EXPECT_NE(message("[effects]\n\"audio.click\" = {from = 1, to = 2}\n").find("spread"), std::string::npos);
  EXPECT_NE(message("[effects]\n\"move-cable\" = {lost = 0.5}\n").find("lost"), std::string::npos);
  EXPECT_NE(
      message("colour = 1\n[effects]\n\"audio.click\" = {from = 1, to = 2, spread = 1}\n").find("colour"),
      std::string::npos);
}

}  // namespace
