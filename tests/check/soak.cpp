// A long run: events of known times in a tone, made here sample by sample; memory that does not grow.
#include <gtest/gtest.h>
#include <sys/resource.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <linebench/check/soak.hpp>
#include <numbers>
#include <random>
#include <span>
#include <vector>

#include "support/coverage.hpp"
#include "support/sine.hpp"

namespace {

using namespace linebench;
using check::SoakEvent;

constexpr double rate = 16000;

// A 1 kHz tone of -20 dBFS (peak 0.1) with noise, from `from` on, as long as wanted.
class ToneRun {
 public:
  std::vector<float> next(std::size_t n) {
    std::vector<float> x(n);
    for (float& v : x) {
      const double t = static_cast<double>(at_++) / rate;
      v = static_cast<float>(gain(t) * synth::sine(2 * std::numbers::pi * 1000 * t) +
                             noise_(random_) * (t >= noise_from ? 20 : 1));
      if (t >= hum_from && t < hum_to) {
        const double whole =
            hum_ramp_s > 0 ? std::min({1.0, (t - hum_from) / hum_ramp_s, (hum_to - t) / hum_ramp_s}) : 1;
        for (const auto& [order, share] : hum_parts)
          v += static_cast<float>(whole * 0.002 * share *
                                  std::sin(2 * std::numbers::pi * std::fmod(order * hum_hz * t, 1.0)));
      }
      if (t >= bends_from) v = (v - 40 * v * v * v) / 0.7F;
      if (t >= cut_from) v = std::clamp(v, -0.07F, 0.07F) * 1.2F;
      for (const double burst : bursts) {
        if (t >= burst && t < burst + 0.05) v += static_cast<float>(70 * noise_(random_));
      }
      for (const double click : clicks) {
        if (std::abs(t - click) < 0.5 / rate) v += 0.6F;
      }
    }
    return x;
  }
  std::vector<double> clicks{}, bursts{};
  double bends_from = 1e9;  // a stage that bends: v - 40 v^3 of a peak of 0.1, made up in gain
  double cut_from = 1e9;    // tops cut at 70 % of the peak, made up in gain
  double step_at = 1e9, step_back = 1e9, lost_from = 1e9, lost_to = 1e9;
  double hum_from = 1e9, hum_to = 1e9, noise_from = 1e9;
  double fall_db_per_s = 0;
  double hum_ramp_s = 0, hum_hz = 50;
  std::vector<std::pair<int, double>> hum_parts{{1, 1.0}};  // order, share of the fundamental

 private:
  [[nodiscard]] double gain(double t) const {
    if (t >= lost_from && t < lost_to) return 0;
    return 0.1 * (t >= step_at && t < step_back ? std::pow(10.0, -2.0 / 20) : 1.0) * std::pow(10.0, -fall_db_per_s * t / 20);
  }
  std::uint64_t at_ = 0;
  std::mt19937 random_{3};
  std::normal_distribution<double> noise_{0, 1e-4};
};

Readings soak(ToneRun& run, double seconds, std::vector<SoakEvent>* events = nullptr) {
  check::SoakOptions options;
  options.tone_hz = 1000;
  options.signal = "tone-1k";
  check::Soak s(rate, 1, options, [&](const SoakEvent& e) {
    if (events != nullptr) events->push_back(e);
  });
  const auto total = static_cast<std::size_t>(seconds * rate);
  for (std::size_t done = 0; done < total; done += 4000) s.push(run.next(4000));
  return s.finish();
}

double number(const Readings& r, const char* id) {
  const Reading* found = find_reading(r, id);
  return found != nullptr && found->measured() ? found->number() : std::nan("");
}

// Losses of any length, wherever they lie against the run's own windows, up to one that lasts to the end.
TEST(Soak, LossesOfEveryLengthAreCountedOnce) {
  unsigned combination = 0;
  for (const double seconds : {0.2, 1.0, 1.5, 3.0, 5.0, 8.0, 9.5, 14.0, 40.0}) {
    for (const double from : {13.0, 17.3, 19.95, 25.4}) {
      if (!coverage::taken(combination++, 3)) continue;
      ToneRun run;
      run.lost_from = from;
      run.lost_to = from + seconds;
      const Readings r = soak(run, 85);
      EXPECT_EQ(number(r, "audio.dropout.count"), 1) << seconds << " s from " << from << " s";
      const Reading* times = find_reading(r, "audio.dropout.times");
      if (seconds > 11 && times == nullptr) continue;  // told by its windows
      ASSERT_NE(times, nullptr) << seconds << " s from " << from << " s";
      EXPECT_NEAR(times->curve().x.front(), from, 0.25) << seconds;
    }
  }
  ToneRun run;
  run.lost_from = 57;
  EXPECT_EQ(number(soak(run, 65), "audio.dropout.count"), 1) << "for good, 8 s before the end";
}

TEST(Soak, QuietRunHasNoEvents) {
  ToneRun run;
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 65, &events);
  EXPECT_TRUE(events.empty());
  EXPECT_EQ(number(r, "audio.click.count"), 0);
  EXPECT_EQ(number(r, "audio.dropout.count"), 0);
  EXPECT_EQ(find_reading(r, "audio.tone.step"), nullptr);
  EXPECT_EQ(find_reading(r, "audio.signal")->text(), "present");
}

TEST(Soak, ClicksAreCountedOnceWhereverTheyFall) {
  ToneRun run;
  // In the middle of a window, in the overlap of two, at its very edges.
  run.clicks = {3.0, 10.1, 10.5, 10.9, 20.0, 33.333, 40.4999, 51.0};
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 65, &events);
  EXPECT_EQ(number(r, "audio.click.count"), static_cast<double>(run.clicks.size()));
  const Reading* times = find_reading(r, "audio.click.times");
  ASSERT_NE(times, nullptr);
  ASSERT_EQ(times->curve().x.size(), run.clicks.size());
  for (std::size_t i = 0; i < run.clicks.size(); ++i) EXPECT_NEAR(times->curve().x[i], run.clicks[i], 0.005);
  EXPECT_EQ(events.size(), run.clicks.size());
}

TEST(Soak, LevelStepAndItsTime) {
  ToneRun run;
  run.step_at = 27.3;
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 65, &events);
  EXPECT_NEAR(number(r, "audio.tone.step"), -2.0, 0.2);
  EXPECT_NEAR(number(r, "audio.tone.step.time"), 27.3, 10);
  int steps = 0;
  for (const SoakEvent& e : events) steps += e.kind == SoakEvent::Kind::Step ? 1 : 0;
  EXPECT_EQ(steps, 1);
}

int count(const std::vector<SoakEvent>& events, SoakEvent::Kind kind) {
  return static_cast<int>(
      std::count_if(events.begin(), events.end(), [&](const SoakEvent& e) { return e.kind == kind; }));
}

// An even fall has no moment at which it happens: 6 dB in five minutes is 0.2 dB from window to window.
TEST(Soak, AnEvenFallIsADriftAndNoStep) {
  ToneRun run;
  run.fall_db_per_s = 6.0 / 300;
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 301, &events);
  const Reading* drift = find_reading(r, "audio.tone.drift");
  ASSERT_NE(drift, nullptr);
  // From the middle of the first window to the middle of the last whole one: 0.02 dB/s over 280 to 290 s.
  EXPECT_NEAR(drift->number(), -5.7, 0.12);
  EXPECT_NEAR(number(r, "audio.tone.drift.time"), 285, 10);
  EXPECT_EQ(count(events, SoakEvent::Kind::Step), 0);
  ASSERT_GE(count(events, SoakEvent::Kind::Drift), 4);  // one a decibel
  const auto first = std::find_if(events.begin(), events.end(),
                                  [](const SoakEvent& e) { return e.kind == SoakEvent::Kind::Drift; });
  EXPECT_NEAR(first->at_s, 50, 10.1);
  EXPECT_NEAR(first->amount, -1, 0.25);
}

// Ten times as fast it is a drift all the same, and no row of jumps.
TEST(Soak, AFasterEvenFallIsADriftToo) {
  for (const double db_per_s : {0.05, 0.1}) {
    ToneRun run;
    run.fall_db_per_s = db_per_s;
    std::vector<SoakEvent> events;
    const Readings r = soak(run, 65, &events);
    EXPECT_EQ(count(events, SoakEvent::Kind::Step), 0) << db_per_s;
    EXPECT_NEAR(number(r, "audio.tone.drift"), -50 * db_per_s, 0.1 * 50 * db_per_s);
  }
}

TEST(Soak, AStepIsNoDrift) {
  ToneRun run;
  run.step_at = 27.3;
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 85, &events);
  EXPECT_EQ(count(events, SoakEvent::Kind::Drift), 0);
  EXPECT_NEAR(number(r, "audio.tone.drift"), 0, 0.2);
}

// Down for three seconds and back: two steps that one window holds, and the level is what it was.
TEST(Soak, AStepThereAndBackIsNoDrift) {
  for (const double at : {31.0, 38.5}) {
    ToneRun run;
    run.step_at = at;
    run.step_back = at + 3;
    std::vector<SoakEvent> events;
    const Readings r = soak(run, 85, &events);
    EXPECT_GE(count(events, SoakEvent::Kind::Step), 1) << at;
    EXPECT_EQ(count(events, SoakEvent::Kind::Drift), 0) << at;
    EXPECT_NEAR(number(r, "audio.tone.drift"), 0, 0.2) << at;
  }
}

// 50 Hz of 0.002 is -54 dBFS by AES17; 20 times the noise is 26 dB.
TEST(Soak, HumAndNoiseThatComeInAreToldWithTheirTimes) {
  ToneRun hums;
  hums.hum_from = 34;
  hums.hum_to = 62;
  std::vector<SoakEvent> events;
  const Readings hum = soak(hums, 125, &events);
  ASSERT_EQ(count(events, SoakEvent::Kind::HumRise), 1);
  for (const SoakEvent& e : events) {
    if (e.kind == SoakEvent::Kind::HumRise) {
      EXPECT_NEAR(e.at_s, 34, 10.1);
    }
  }
  EXPECT_GT(number(hum, "audio.hum.rise"), 40);
  EXPECT_NEAR(number(hum, "audio.hum.rise.time"), 34, 10.1);  // when to ask what was switched on
  ToneRun hisses;
  hisses.noise_from = 71;
  events.clear();
  const Readings noise = soak(hisses, 125, &events);
  EXPECT_EQ(count(events, SoakEvent::Kind::NoiseRise), 1);
  EXPECT_EQ(count(events, SoakEvent::Kind::HumRise), 0);
  EXPECT_NEAR(number(noise, "audio.noise.rise"), 26, 0.5);
}

// The noise reading holds what the ear hears of hum; of noise itself there is no more than before.
TEST(Soak, HumThatIsSwitchedIsNoNoise) {
  for (const auto& [from, ramp] : {std::pair{61.0, 0.0}, {64.0, 0.3}, {67.5, 3.0}, {69.7, 0.0}, {70.0, 0.0}, {70.2, 0.0}}) {
    ToneRun run;
    run.hum_from = from;
    run.hum_to = from + 25;
    run.hum_ramp_s = ramp;
    run.hum_hz = 50.02;
    run.hum_parts = {{1, 1.0}, {2, 0.06}, {3, 0.4}, {5, 0.12}, {7, 0.06}};
    std::vector<SoakEvent> events;
    const Readings r = soak(run, 105, &events);
    EXPECT_EQ(count(events, SoakEvent::Kind::HumRise), 1) << from << " " << ramp;
    EXPECT_EQ(count(events, SoakEvent::Kind::NoiseRise), 0) << from << " " << ramp;
    EXPECT_EQ(find_reading(r, "audio.noise.rise"), nullptr) << from << " " << ramp;
  }
  // Noise that comes with it is told.
  ToneRun both;
  both.hum_from = 64;
  both.hum_to = 300;
  both.noise_from = 64;
  std::vector<SoakEvent> events;
  EXPECT_NEAR(number(soak(both, 125, &events), "audio.noise.rise"), 26, 0.5);
  EXPECT_EQ(count(events, SoakEvent::Kind::NoiseRise), 1);
}

// Of A sin, v - k v^3 leaves A (1 - 3 k A^2 / 4) and a third harmonic of k A^3 / 4: here 0.7 and 0.1, 14 %.
TEST(Soak, DistortionThatComesInIsToldWithItsTime) {
  ToneRun run;
  run.bends_from = 73;
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 125, &events);
  EXPECT_EQ(count(events, SoakEvent::Kind::DistortionRise), 1);
  EXPECT_GT(number(r, "audio.thd.rise"), 20);
  EXPECT_NEAR(number(r, "audio.thd.rise.time"), 73, 10.1);  // a window's start
  ToneRun clean;
  const Readings none = soak(clean, 125, &events);
  EXPECT_EQ(find_reading(none, "audio.thd.rise"), nullptr);
}

// 70 % of a period's quarter waves: asin(0.7) of pi / 2 is not cut, 0.494 of all samples are.
TEST(Soak, TopsCutForAMinuteAreCounted) {
  ToneRun run;
  run.cut_from = 43;
  const Readings r = soak(run, 105);
  EXPECT_GT(number(r, "audio.clip.samples"), 0.4 * 62 * rate);
  EXPECT_LT(number(r, "audio.clip.samples"), 0.6 * 62 * rate);
}

// 0.007 rms is -40 dBFS, 20 dB under the tone; some lie at the windows' edges.
TEST(Soak, CrackleIsCountedOnceWithItsTimes) {
  ToneRun run;
  run.bursts = {7.0, 19.98, 20.5, 40.2, 60.9};
  std::vector<SoakEvent> events;
  const Readings r = soak(run, 85, &events);
  EXPECT_EQ(number(r, "audio.crackle.count"), 5);
  std::vector<double> times;
  for (const SoakEvent& e : events) {
    if (e.kind == SoakEvent::Kind::Crackle) times.push_back(e.at_s);
  }
  ASSERT_EQ(times.size(), run.bursts.size());
  for (std::size_t i = 0; i < times.size(); ++i) EXPECT_NEAR(times[i], run.bursts[i], 0.03);
}

TEST(Soak, ShortDropoutAndALongLoss) {
  ToneRun run;
  run.lost_from = 14.2;
  run.lost_to = 14.35;
  const Readings brief = soak(run, 45);
  EXPECT_EQ(number(brief, "audio.dropout.count"), 1);
  ToneRun gone;
  gone.lost_from = 15;
  gone.lost_to = 58;
  std::vector<SoakEvent> events;
  const Readings r = soak(gone, 95, &events);
  EXPECT_GE(number(r, "audio.dropout.count"), 1);
  bool went = false, came = false;
  for (const SoakEvent& e : events) {
    went = went || e.kind == SoakEvent::Kind::Gone;
    came = came || e.kind == SoakEvent::Kind::Back;
  }
  EXPECT_TRUE(went);
  EXPECT_TRUE(came);
}

// A run on an open path has no click and no dropout, and shows nothing all the same.
TEST(Soak, ToneThatNeverCameIsSaid) {
  check::SoakOptions options;
  options.tone_hz = 1000;
  options.signal = "tone-1k";
  check::Soak s(rate, 2, options);
  std::mt19937 random(5);
  std::normal_distribution<float> noise(0, 1e-4F);
  std::vector<float> block(8000);
  for (int i = 0; i < 40; ++i) {
    for (float& v : block) v = noise(random);
    s.push(block);
  }
  const Readings r = s.finish();
  EXPECT_EQ(find_reading(r, "audio.signal.left")->text(), "none");
  EXPECT_EQ(find_reading(r, "audio.signal.right")->text(), "none");
  // On one side only: the other has nothing to say.
  check::Soak one(rate, 2, options);
  ToneRun run;
  for (int i = 0; i < 40; ++i) {
    const std::vector<float> tone = run.next(4000);
    for (std::size_t k = 0; k < tone.size(); ++k) {
      block[2 * k] = tone[k];
      block[2 * k + 1] = noise(random);
    }
    one.push(block);
  }
  const Readings sided = one.finish();
  EXPECT_EQ(find_reading(sided, "audio.signal.left")->text(), "present");
  EXPECT_FALSE(find_reading(sided, "audio.signal.right")->measured());
}

// Twenty minutes with an event in each; LINEBENCH_TEST_LONG=1 makes it a day. One minute again and again: its
// tone ends where it began.
TEST(Soak, MemoryDoesNotGrow) {
  const auto peak_kb = [] {
    rusage use{};
    getrusage(RUSAGE_SELF, &use);
    return use.ru_maxrss;
  };
  const int minutes = std::getenv("LINEBENCH_TEST_LONG") != nullptr ? 24 * 60 : 20;
  ToneRun run;
  run.clicks = {30};
  const std::vector<float> minute = run.next(static_cast<std::size_t>(60 * rate));
  check::SoakOptions options;
  options.tone_hz = 1000;
  options.signal = "tone-1k";
  check::Soak s(rate, 1, options);
  long before = 0;
  for (int m = 0; m < minutes; ++m) {
    for (std::size_t at = 0; at < minute.size(); at += 4000)
      s.push(std::span<const float>(minute).subspan(at, 4000));
    if (m == 1) before = peak_kb();
  }
  EXPECT_EQ(number(s.finish(), "audio.click.count"), minutes);
  std::printf("  %d min: grown by %ld kB, to %ld kB\n", minutes, peak_kb() - before, peak_kb());
  EXPECT_LT(peak_kb() - before, 2048);
}

TEST(Soak, TimesAsAPersonReadsThem) {
  EXPECT_EQ(check::soak_time(0), "00:00:00.0");
  EXPECT_EQ(check::soak_time(3723.46), "01:02:03.4");
  EXPECT_EQ(check::soak_time(86399.99), "23:59:59.9");
}

}  // namespace
