// Hum while something is pulled: within a second of the change, from what came after it, and sharper with
// time.
#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <linebench/live/hum_follower.hpp>

#include "feeding.hpp"
#include "support/coverage.hpp"

namespace {

using namespace linebench;

constexpr double rate = 48000;
constexpr double pi = std::numbers::pi;

// Hum of `before` until `at`, of `after` from there on, in noise.
synth::Samples stepped(double at, double before_dbfs, double after_dbfs, double seconds, double noise,
                       unsigned seed) {
  synth::Samples x(synth::count(seconds, rate));
  synth::add_noise(x, noise, seed);
  for (std::size_t n = 0; n < x.size(); ++n) {
    const double t = static_cast<double>(n) / rate;
    const double a = std::pow(10.0, (t < at ? before_dbfs : after_dbfs) / 20);
    x[n] +=
        static_cast<float>(a * (std::sin(2 * pi * 50.03 * t + 0.4) + 0.3 * std::sin(2 * pi * 150.09 * t)));
  }
  return x;
}
double comb_level(double fundamental_dbfs) { return fundamental_dbfs + 10 * std::log10(1 + 0.3 * 0.3); }

void follow(live::HumFollower& f, const synth::Samples& x, const std::function<void(double)>& each) {
  constexpr std::size_t block = 480;
  for (std::size_t at = 0; at + block <= x.size(); at += block) {
    if (f.push(std::span(x).subspan(at, block))) each(static_cast<double>(at + block) / rate);
  }
}

struct Case {
  const char* name;
  double before, after;
};

// Steps up and down, small and large, hum that comes and hum that goes, at several phases of the meter's
// clock.
TEST(LiveHum, IsReadWithinASecondOfItsChange) {
  for (const Case c : {Case{"20 dB down", -30, -50}, Case{"20 dB up", -50, -30}, Case{"2 dB down", -40, -42},
                       Case{"comes", -200, -45}, Case{"goes", -45, -200}}) {
    double worst = 0;
    for (int k = 0; k < 5; ++k) {
      const double at = 6 + 0.043 * k;
      live::HumFollower f(rate, {});
      const auto x = stepped(at, c.before, c.after, 10, -80, static_cast<unsigned>(k + 1));
      double right_since = 0;
      follow(f, x, [&](double t) {
        const Reading* r = find_reading(f.readings(), "audio.hum.level");
        const bool gone = c.after < -100;
        const bool right =
            gone ? !r->measured() : r->measured() && std::abs(r->number() - comb_level(c.after)) < 0.3;
        if (t <= at) return;
        if (!right) right_since = 0;
        if (right && right_since == 0) right_since = t;
      });
      ASSERT_GT(right_since, at) << c.name;
      worst = std::max(worst, right_since - at);
    }
    std::printf("  %s: read after %.2f s at the most\n", c.name, worst);
    EXPECT_LT(worst, 1.0) << c.name;
  }
}

TEST(LiveHum, GetsSharperUntilTenSecondsAndSaysSo) {
  live::HumFollower f(rate, {});
  const auto x = stepped(0, -50, -50, 14, -60, 4);
  std::vector<std::pair<double, double>> seen;  // window, uncertainty
  follow(f, x, [&](double) {
    const Reading* r = find_reading(f.readings(), "audio.hum.level");
    if (r->measured()) seen.emplace_back(f.window_s(), r->uncertainty.value());
  });
  ASSERT_GT(seen.size(), 5U);
  EXPECT_LT(seen.front().first, 0.7);
  EXPECT_NEAR(seen.back().first, 10, 1e-6);
  EXPECT_LT(seen.back().second, seen.front().second / 2);
  EXPECT_EQ(f.changes(), 0U) << "nothing changed";
  EXPECT_NE(find_reading(f.readings(), "audio.hum.level")->reason.find("over 10.0 s"), std::string::npos);
}

TEST(LiveHum, SaysWhatItNeedsBeforeTheFirstFit) {
  live::HumFollower f(rate, {});
  const synth::Samples x(synth::count(0.3, rate));
  EXPECT_FALSE(f.push(x));
  EXPECT_EQ(find_reading(f.readings(), "audio.hum.level")->verdict, Verdict::Unmeasurable);
}

// The window after a change holds nothing from before it: the short fit and the young window must be as true
// as they claim.
TEST(LiveHum, UncertaintyIsTrueRightAfterAChange) {
  for (const double after_s : {0.9, 2.0}) {
    coverage::expect_coverage(after_s < 1 ? "hum 0.9 s after a change" : "hum 2 s after a change", 200,
                              [after_s](unsigned seed) {
                                live::HumFollower f(rate, {});
                                const double at = 2 + 0.001 * (seed % 200);
                                follow(f, stepped(at, -30, -50, at + after_s, -60, seed), [](double) {});
                                const Reading* r = find_reading(f.readings(), "audio.hum.level");
                                if (!r->measured()) return coverage::Trial{0, 0, 1};
                                return coverage::Trial{r->number(), r->uncertainty.value(), comb_level(-50)};
                              });
  }
}

}  // namespace
