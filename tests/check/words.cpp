// Every key that the code speaks of has words, and every reading that a feed is judged by has advice.
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <linebench/check/plan.hpp>
#include <linebench/check/words.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/signals/recipe.hpp>
#include <regex>
#include <set>
#include <where.hpp>

namespace {

using namespace linebench;
namespace fs = std::filesystem;

std::string sources() {
  std::string all;
  for (const char* folder : {"src/check", "src/app"}) {
    for (const auto& e : fs::directory_iterator(fs::path(LINEBENCH_SOURCE_DIR) / folder)) {
      if (e.path().extension() != ".cpp") continue;
      std::ifstream in(e.path());
      all += std::string{std::istreambuf_iterator<char>(in), {}};
    }
  }
  return all;
}

TEST(Words, EveryKeyInTheCodeHasSome) {
  const check::Words words = check::Words::load("en");
  const std::string code = sources();
  const std::regex text(R"re("((?:feed|station|site|say|prompt|soak|side)-[a-z-]*[a-z])")re");
  int seen = 0;
  for (std::sregex_iterator it(code.begin(), code.end(), text), end; it != end; ++it, ++seen) {
    EXPECT_NO_THROW((void)words.text((*it)[1].str())) << (*it)[1];
  }
  EXPECT_GT(seen, 60);
  const std::regex asked(R"re(\.(?:key|words) = "([a-z.-]+[a-z])"(?!,\s*\.words))re");
  for (std::sregex_iterator it(code.begin(), code.end(), asked), end; it != end; ++it, ++seen) {
    const std::string key = (*it)[1];
    EXPECT_NE(words.find_question(key), nullptr) << key;
  }
}

TEST(Words, AdviceForWhatAFeedIsJudgedBy) {
  const check::Words words = check::Words::load("en");
  for (const char* set : {"professional-feed", "consumer-feed"}) {
    for (const judge::LimitEntry& e : judge::load_limit_set(set).entries)
      EXPECT_NE(words.advice(e.id, "high"), nullptr) << e.id;
  }
}

TEST(Plans, ShippedOnesNameSignalsAndLimitsThatAreThere) {
  const auto plans = check::load_plans();
  ASSERT_GE(plans.size(), 2u);
  for (const check::StationPlan& p : plans) {
    for (const check::StationTest& t : p.tests) {
      if (!t.signal.empty()) {
        EXPECT_NO_THROW((void)signals::load_recipe(t.signal)) << t.signal;
      }
      if (!t.limits.empty()) {
        EXPECT_NO_THROW((void)judge::load_limit_set(t.limits)) << t.limits;
      }
      EXPECT_FALSE(t.steps.empty()) << t.key;
    }
  }
}

}  // namespace
