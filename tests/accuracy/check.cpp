// The accuracy card in the README is what these cases give, leaves no reading out, and holds no claim that is
// wrong.
// LINEBENCH_WRITE_CARD=1 runs every case and writes the card, LINEBENCH_TEST_LONG=1 runs every case and
// compares. Otherwise the quick cases are run and the rest of the card is read. LINEBENCH_CARD_ONLY=p5 runs
// every case of sweep p5 alone.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <where.hpp>

#include "accuracy/card.hpp"
#include "support/stopwatch.hpp"

namespace {

using namespace accuracy;

constexpr const char* readme = LINEBENCH_SOURCE_DIR "/README.md";
constexpr std::string_view begins = "<!-- accuracy card: written by tests/accuracy -->\n";
constexpr std::string_view ends = "<!-- accuracy card ends -->\n";

std::string whole_readme() {
  std::ifstream in(readme, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}
std::string card_in(const std::string& text) {
  const std::size_t from = text.find(begins);
  const std::size_t to = text.find(ends);
  if (from == std::string::npos || to == std::string::npos || to < from) return {};
  return text.substr(from + begins.size(), to - from - begins.size());
}
void write_card(const std::string& card) {
  std::string text = whole_readme();
  const std::size_t from = text.find(begins) + begins.size();
  text.replace(from, text.find(ends) - from, card);
  std::ofstream(readme, std::ios::binary) << text;
}
bool asked(const char* name) { return std::getenv(name) != nullptr; }

// Two figures are written of each number, and other processors round otherwise.
void expect_alike(const Row& card, const Row& now) {
  const std::string what = now.view + " " + now.sweep + " " + now.id;
  EXPECT_NEAR(card.given, now.given, 1 + 0.02 * now.wanted) << what;
  EXPECT_EQ(card.wanted, now.wanted) << what;
  EXPECT_NEAR(card.rms, now.rms, 0.1 * now.rms + 1e-12) << what;
  EXPECT_NEAR(card.claimed, now.claimed, 0.1 * now.claimed + 1e-12) << what;
  EXPECT_NEAR(card.coverage, now.coverage, 0.02) << what;
  EXPECT_NEAR(card.times_bound, now.times_bound, 0.15 * now.times_bound) << what;
}

TEST(AccuracyCard, CasesGiveTheFiguresInTheReadme) {
  const char* only = std::getenv("LINEBENCH_CARD_ONLY");
  const bool write = asked("LINEBENCH_WRITE_CARD") && only == nullptr;
  const bool whole = write || asked("LINEBENCH_TEST_LONG");
  const std::vector<Case> cases = all_cases();
  const std::string card = card_in(whole_readme());
  const std::vector<Row> written = rows_in(card, cases);
  std::vector<Row> rows;
  for (const Case& c : cases) {
    if (only != nullptr ? c.key != only : !whole && !c.quick) continue;
    const stopwatch::Stopwatch watch;
    const std::vector<Row> now = rows_of(c);
    std::printf("  %s, %s: %.1f s\n", c.key.c_str(), c.sweep.c_str(), watch.seconds());
    for (const Row& r : now) {
      std::printf("    %s", line_of(r).c_str());
      EXPECT_EQ(wrong_with(r), "");
      rows.push_back(r);
      if (write) continue;
      const auto at = std::find_if(written.begin(), written.end(),
                                   [&](const Row& w) { return w.sweep == r.sweep && w.id == r.id; });
      if (at == written.end()) {
        ADD_FAILURE() << r.id << " of sweep " << r.sweep << " is not in the README's card: write it anew";
      } else {
        expect_alike(*at, r);
      }
    }
  }
  ASSERT_FALSE(rows.empty());
  if (write) write_card(legend(cases) + "\n" + table(rows));
}

TEST(AccuracyCard, TheReadmesCardIsWholeAndTrue) {
  const std::vector<Case> cases = all_cases();
  const std::string card = card_in(whole_readme());
  ASSERT_FALSE(card.empty()) << "the README has no accuracy card";
  const std::vector<Row> rows = rows_in(card, cases);
  // Written by this program, as it is now: same sweeps, same reasons, nothing added or changed by hand.
  EXPECT_EQ(card, legend(cases) + "\n" + table(rows)) << "not what the program writes: write it anew";
  std::vector<std::pair<std::string, std::string>> with_rows;
  for (const Row& r : rows) {
    EXPECT_FALSE(r.view.empty()) << r.sweep << " is no sweep the program knows";
    EXPECT_EQ(wrong_with(r), "");
    with_rows.emplace_back(r.view, r.id);
  }
  for (const Case& c : cases)
    EXPECT_TRUE(std::any_of(rows.begin(), rows.end(), [&](const Row& r) { return r.sweep == c.key; }))
        << c.key;
  for (const std::string& gap : gaps(with_rows)) ADD_FAILURE() << gap;
}

TEST(AccuracyCard, AMissingReadingIsNamed) {
  const std::vector<std::string> all = gaps({});
  EXPECT_NE(std::find(all.begin(), all.end(), "audio audio.thd: neither figures nor a reason"), all.end());
  EXPECT_NE(std::find(all.begin(), all.end(), "picture picture.roll: neither figures nor a reason"),
            all.end());
  const std::vector<std::string> both = gaps({{"audio", "audio.signal"}});
  EXPECT_NE(std::find(both.begin(), both.end(), "audio audio.signal: has figures and a reason for none"),
            both.end());
}

// The rule itself: a right claim passes, one of half its size does not, nor one that is seldom given.
TEST(AccuracyCard, AWrongClaimFails) {
  Case c{"audio", "normal errors of known size", 200, {}};
  for (const double claimed : {2.0, 1.0}) {
    c.run = [claimed](unsigned seed) {
      std::mt19937 random(seed);
      const double error = std::normal_distribution<double>(0, 1)(random);
      return std::vector<Found>{{"audio.thd", 5 + error, claimed, 5, 1}};
    };
    const std::vector<Row> rows = rows_of(c);
    ASSERT_EQ(rows.size(), 1U);
    EXPECT_NEAR(rows[0].rms, 1, 0.15);
    EXPECT_NEAR(rows[0].times_bound, rows[0].rms, 1e-12);
    EXPECT_EQ(wrong_with(rows[0]).empty(), claimed == 2.0) << wrong_with(rows[0]);
  }
  c.run = [](unsigned seed) {
    return std::vector<Found>{{"audio.thd", seed % 3 == 0 ? 5 : std::nan(""), 1, 5, 0}};
  };
  EXPECT_NE(wrong_with(rows_of(c)[0]), "");
}

}  // namespace
