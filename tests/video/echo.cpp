// Echoes, cable loss and termination: waveforms in closed form, the path imposed on their spectrum. An echo
// of ratio a and delay d is 1 + a e^(-j w d); coaxial loss is e^(-k sqrt(f) (1 + j)), the skin effect's
// closed form.
#include <fmt/format.h>

#include <algorithm>
#include <linebench/standards/cable.hpp>

#include "support/video_lines.hpp"
#include "video/measuring.hpp"

namespace {

using namespace video_synth;
using namespace video_test;
using Response = std::function<std::complex<double>(double)>;

std::complex<double> echo(double hz, double ratio, double us) {
  return ratio * std::polar(1.0, -2 * pi * hz * us * 1e-6);
}
std::complex<double> coax(double hz, double db) {
  const double nepers = db / 8.685889638 * std::sqrt(hz / 5e6);
  return std::polar(std::exp(-nepers), -nepers);
}
// Five poles, as a recorder's filter has them (minimum phase).
std::complex<double> butterworth(double hz, double corner_hz) {
  const std::complex<double> s(0, hz / corner_hz);
  std::complex<double> h = 1;
  for (int k = 0; k < 5; ++k) {
    const std::complex<double> p = std::polar(1.0, pi * (2.0 * k + 6) / 10);
    h *= -p / (s - p);
  }
  return h;
}
std::vector<float> through(const Wave& w, double rate, double seconds, const Response& path) {
  std::vector<float> v = clean(w, rate, seconds);
  filter(v, rate, path);
  return v;
}
Readings at_forty_decibels(std::vector<float> v, double rate, unsigned seed = 3) {
  add_noise(v, 7, seed);
  return measured(rate, std::move(v));
}

TEST(VideoEcho, DelayLevelSignAndDistance) {
  struct Case {
    double db;
    int sign;
    double us;
  };
  unsigned combination = 0;
  for (const bool is_525 : {true, false}) {
    for (const bool white : {false, true}) {
      const Wave base = is_525 ? wave_525() : wave_625();
      const Wave w = white ? with_white(base) : with_bars(base);
      for (const Case& c : {Case{-20, 1, 0.41}, Case{-20, 1, 0.62}, Case{-26, -1, 1.23}, Case{-20, -1, 3.1},
                            Case{-24, 1, 8.3}}) {
        if (!coverage::taken(combination++, 2)) continue;
        const double rate = is_525 ? 315e6 / 22 : 13.5e6;
        const double ratio = c.sign * std::pow(10, c.db / 20);
        std::printf("  %s, %s\n", is_525 ? "525" : "625", white ? "white" : "bars");
        const Readings r = at_forty_decibels(
            through(w, rate, 0.1, [&](double f) { return 1.0 + echo(f, ratio, c.us); }), rate);
        expect_near(r, "video.echo.delay", c.us * 1e3, c.us > 5 ? 15 : 10);
        expect_near(r, "video.echo.level", c.db, 0.7);
        expect_near(r, "video.echo.distance", 0.5 * c.us * 0.66 * 299.792458, 1.5);
        EXPECT_EQ(get(r, "video.echo.polarity").number(), c.sign);
      }
    }
  }
}

TEST(VideoEcho, SeveralAtOnceStrongestFirst) {
  const double rate = 17734475.0;
  const Readings r =
      at_forty_decibels(through(with_bars(wave_625()), rate, 0.1,
                                [](double f) { return 1.0 + echo(f, -0.05, 2.9) + echo(f, 0.1, 0.7); }),
                        rate);
  expect_near(r, "video.echo.1.delay", 700, 10);
  expect_near(r, "video.echo.1.level", -20, 0.7);
  expect_near(r, "video.echo.2.delay", 2900, 10);
  expect_near(r, "video.echo.2.level", -26, 0.7);
  EXPECT_EQ(get(r, "video.echo.delay").number(), get(r, "video.echo.1.delay").number());
}

// One near the edge hides among the others' traces until all are looked for at once. What is shown is right
// within its claim; what cannot be told is not shown.
TEST(VideoEcho, SeveralWithOneNearTheEdge) {
  struct One {
    double us, ratio;
  };
  const std::vector<std::vector<One>> sets = {{{0.5, -0.178}, {1.5, 0.08}, {4.0, 0.04}},
                                              {{0.6, -0.178}, {1.5, 0.08}},
                                              {{0.45, 0.1}, {0.9, -0.1}},
                                              {{0.2, 0.25}, {1.5, 0.08}},
                                              {{0.25, 0.1}, {1.5, 0.05}},
                                              {{0.8, 0.158}, {1.0, -0.126}}};
  int there = 0;
  int shown = 0;
  unsigned combination = 0;
  for (const bool is_525 : {true, false}) {
    for (const bool white : {false, true}) {
      for (const double rate : {17734475.0, 27e6}) {
        const Wave base = is_525 ? wave_525() : wave_625();
        for (const std::vector<One>& set : sets) {
          if (!coverage::taken(combination++, 5)) continue;
          const Readings r = at_forty_decibels(through(white ? with_white(base) : with_bars(base), rate, 0.06,
                                                       [&](double f) {
                                                         std::complex<double> h = 1;
                                                         for (const One& e : set) h += echo(f, e.ratio, e.us);
                                                         return h;
                                                       }),
                                               rate);
          there += static_cast<int>(set.size());
          for (int k = 1; find_reading(r, fmt::format("video.echo.{}.delay", k)) != nullptr; ++k) {
            const Reading& delay = get(r, fmt::format("video.echo.{}.delay", k));
            const Reading& level = get(r, fmt::format("video.echo.{}.level", k));
            const One& nearest = *std::min_element(set.begin(), set.end(), [&](const One& a, const One& b) {
              return std::abs(a.us * 1e3 - delay.number()) < std::abs(b.us * 1e3 - delay.number());
            });
            const double db = 20 * std::log10(std::abs(nearest.ratio));
            const std::string where =
                fmt::format("{} at {:g} MS/s, {}: first {} us; {:.1f} +- {:.1f} ns, {:.2f} +- {:.2f} dB",
                            base.lines, 1e-6 * rate, white ? "white" : "bars", set.front().us, delay.number(),
                            *delay.uncertainty, level.number(), *level.uncertainty);
            EXPECT_NEAR(delay.number(), 1e3 * nearest.us, 1.6 * *delay.uncertainty) << where;
            EXPECT_NEAR(level.number(), db, 1.6 * *level.uncertainty) << where;
            shown += std::abs(delay.number() - 1e3 * nearest.us) < 10 && std::abs(level.number() - db) < 0.7;
          }
        }
      }
    }
  }
  std::printf("    %d of %d echoes within 10 ns and 0.7 dB\n", shown, there);
  EXPECT_GE(shown, 0.5 * there);
}

// What follows an edge so closely that several sets of delays would explain it shows behind a 2T pulse, which
// is over sooner.
TEST(VideoEcho, NearOneBehindAPulse) {
  int read = 0;
  int tried = 0;
  unsigned combination = 0;
  for (const double rate : {17734475.0, 27e6}) {
    for (const bool is_525 : {true, false}) {
      for (const auto& [us, ratio] : {std::pair{0.36, -0.12}, {0.36, 0.1}, {0.42, 0.08}}) {
        if (!coverage::taken(combination++, 2)) continue;
        ++tried;
        const Wave w = is_525 ? wave_525() : wave_625();
        const double t = is_525 ? 0.125 : 0.1;
        const double white = is_525 ? 5000.0 / 7 : 700;
        const video_lines::Line line = video_lines::together(
            {video_lines::bar_from(15, 38, 2 * t, white), video_lines::pulse_at(47, 2 * t, white)});
        std::vector<float> v = clean(w, rate, 0.1);
        video_lines::add(v, w, rate, [&](int n) { return has_picture(w, n) ? &line : nullptr; });
        filter(v, rate, [&, d = us, a = ratio](double f) { return 1.0 + echo(f, a, d); });
        const Readings r = at_forty_decibels(std::move(v), rate);
        SCOPED_TRACE(fmt::format("{} at {} us, {} MS/s, {}", ratio, us, 1e-6 * rate, is_525 ? 525 : 625));
        if (!get(r, "video.echo.delay").measured()) continue;
        ++read;
        expect_near(r, "video.echo.delay", 1e3 * us, 10);
        expect_near(r, "video.echo.level", 20 * std::log10(std::abs(ratio)), 0.7);
      }
    }
  }
  EXPECT_GE(6 * read, 5 * tried);
}

// As near as the edge is long: right, or said to be too near.
TEST(VideoEcho, NearTheEdgeRightOrSaid) {
  int read = 0;
  unsigned combination = 0;
  for (const double rate : {13.5e6, 27e6}) {
    for (const bool is_525 : {true, false}) {
      for (const bool white : {false, true}) {
        for (const auto& [us, ratio] :
             {std::pair{0.15, 0.2}, {0.25, 0.2}, {0.3, -0.1}, {0.36, -0.126}, {0.42, -0.126}}) {
          if (!coverage::taken(combination++, 3)) continue;
          const Wave base = is_525 ? wave_525() : wave_625();
          const Readings r =
              at_forty_decibels(through(white ? with_white(base) : with_bars(base), rate, 0.06,
                                        [&, d = us, a = ratio](double f) { return 1.0 + echo(f, a, d); }),
                                rate);
          SCOPED_TRACE(
              fmt::format("{} at {} us, {} MS/s, {}", ratio, us, 1e-6 * rate, white ? "white" : "bars"));
          const Reading& level = get(r, "video.echo.level");
          if (!level.measured()) {
            // A bound, where one is given, starts farther out.
            const auto from = level.reason.find("from ");
            if (from != std::string::npos && level.at_most) {
              EXPECT_GT(std::stod(level.reason.substr(from + 5)), us) << level.reason;
            }
            continue;
          }
          ++read;
          expect_near(r, "video.echo.delay", us * 1e3, 25);
          expect_near(r, "video.echo.level", 20 * std::log10(std::abs(ratio)), 1.7);
        }
      }
    }
  }
  EXPECT_GE(read, 1);
}

TEST(VideoEcho, NoneWhereThereIsNone) {
  const std::vector<std::pair<const char*, Response>> paths = {
      {"nothing", [](double) { return 1.0; }},
      {"coax 1 dB", [](double f) { return coax(f, 1); }},
      {"coax 3 dB", [](double f) { return coax(f, 3); }},
      {"coax 10 dB", [](double f) { return coax(f, 10); }},
      {"filter 5 MHz", [](double f) { return butterworth(f, 5e6); }},
      {"filter 4 MHz", [](double f) { return butterworth(f, 4e6); }},
  };
  unsigned combination = 0;
  for (const bool is_525 : {true, false}) {
    for (const bool white : {false, true}) {
      const Wave base = is_525 ? wave_525() : wave_625();
      for (const auto& [name, path] : paths) {
        if (!coverage::taken(combination++, 5)) continue;
        SCOPED_TRACE(name);
        const Readings r =
            at_forty_decibels(through(white ? with_white(base) : with_bars(base), 13.5e6, 0.1, path), 13.5e6);
        expect_none(r, "video.echo.level");
        ASSERT_TRUE(get(r, "video.echo.level").at_most.has_value());
        EXPECT_LT(*get(r, "video.echo.level").at_most, -24);
      }
    }
  }
}

TEST(VideoCable, LossAndLength) {
  for (const bool is_525 : {true, false}) {
    for (const bool white : {false, true}) {
      const Wave base = is_525 ? wave_525() : wave_625();
      const Wave w = white ? with_white(base) : with_bars(base);
      for (const double db : {0.8, 3.0, 6.0, 10.0}) {
        std::printf("  %s, %s, %.1f dB\n", is_525 ? "525" : "625", white ? "white" : "bars", db);
        const Readings r =
            at_forty_decibels(through(w, 13.5e6, 0.1, [&](double f) { return coax(f, db); }), 13.5e6);
        expect_near(r, "video.cable.loss", db, 0.15 + 0.05 * db);
        // RG-59 class: 2.25 dB per 100 m, common practice, from memory.
        expect_near(r, "video.cable.length", db / 2.25 * 100, 8 + 0.05 * db / 2.25 * 100);
      }
    }
  }
}

TEST(VideoCable, AFilterIsNoCableAndALowBurstIsSaid) {
  Wave w = with_bars(wave_625());
  Readings r =
      at_forty_decibels(through(w, 13.5e6, 0.1, [](double f) { return butterworth(f, 4.5e6); }), 13.5e6);
  expect_near(r, "video.cable.loss", 0, 0.3);
  EXPECT_NE(get(r, "video.cable.loss").reason.find("other than cable"), std::string::npos);
  w.burst_pp_mv = 180;
  r = at_forty_decibels(clean(w, 13.5e6, 0.1), 13.5e6);
  expect_near(r, "video.cable.loss", 0, 0.3);
  EXPECT_NE(get(r, "video.cable.loss").reason.find("burst is off"), std::string::npos);
  EXPECT_EQ(get(r, "video.cable.length").verdict, Verdict::Unmeasurable);
  EXPECT_TRUE(get(r, "video.cable.length").at_most.has_value());
}

TEST(VideoCable, TypesCarryTheirStatus) {
  for (const auto& t : standards::cable_types()) {
    EXPECT_EQ(standards::find_cable_type(t.name), &t);
    EXPECT_FALSE(t.loss_5mhz_db.source.empty());
    EXPECT_GT(t.velocity_factor, 0.6);
    EXPECT_LT(t.velocity_factor, 0.9);
  }
  // The pair's formula at 5 MHz: 1.967 sqrt(5) + 0.023 x 5 + 0.050 / sqrt(5).
  EXPECT_NEAR(standards::find_cable_type("cat5e")->loss_5mhz_db.nominal,
              1.967 * std::sqrt(5.0) + 0.023 * 5 + 0.050 / std::sqrt(5.0), 0.01);
  EXPECT_EQ(standards::find_cable_type("string"), nullptr);
}

TEST(VideoTermination, ByTheLevel) {
  // A 75 ohm source: into an open line twice, into two loads two thirds.
  for (const bool is_525 : {true, false}) {
    Wave w = with_bars(is_525 ? wave_525() : wave_625());
    w.noise_mv = 7;
    for (const auto& [gain, word] : {std::pair{1.0, "correct"},
                                     {0.93, "correct"},
                                     {1.1, "correct"},
                                     {2.0, "missing"},
                                     {1.8, "missing"},
                                     {2.0 / 3, "double"},
                                     {0.6, "double"}}) {
      w.gain = gain;
      const Reading r = get(measured(w, 13.5e6, 0.06), "video.termination");
      ASSERT_TRUE(r.measured()) << gain << ": " << r.reason;
      EXPECT_EQ(r.text(), word) << gain;
      if (gain > 1.5 || gain < 0.9) {
        EXPECT_NE(r.reason.find("gain"), std::string::npos);
      }
    }
    for (const double gain : {0.3, 1.4, 3.0}) {
      w.gain = gain;
      expect_none(measured(w, 13.5e6, 0.06), "video.termination");
    }
  }
}

// A load divides sync, burst and white alike (a divider of resistances): sync that stands alone is no load's.
TEST(VideoTermination, SyncAloneIsNoLoad) {
  for (const bool is_525 : {true, false}) {
    for (const double gain : {2.0 / 3, 0.6, 2.0}) {
      Wave w = with_bars(is_525 ? wave_525() : wave_625());
      w.noise_mv = 7;
      w.sync_mv *= gain;
      const Reading r = get(measured(w, 13.5e6, 0.06), "video.termination");
      if (r.measured()) {
        EXPECT_EQ(r.text(), "correct") << gain << ": " << r.reason;
      } else {
        EXPECT_NE(r.reason.find("sync alone"), std::string::npos) << r.reason;
      }
    }
  }
}

TEST(VideoTermination, ALossyCableIsNoSecondLoad) {
  unsigned combination = 0;
  for (const bool is_525 : {true, false}) {
    for (const bool white : {false, true}) {
      for (const double db : {6.0, 9.0, 12.0}) {
        if (!coverage::taken(combination++, 2)) continue;
        for (const auto& [gain, word] : {std::pair{1.0, "correct"}, {2.0 / 3, "double"}}) {
          Wave w = is_525 ? wave_525() : wave_625();
          w = white ? with_white(w) : with_bars(w);
          w.gain = gain;
          const Reading r =
              get(at_forty_decibels(through(w, 13.5e6, 0.06, [&](double f) { return coax(f, db); }), 13.5e6),
                  "video.termination");
          const std::string what = fmt::format("{} lines, {} dB: {}", is_525 ? 525 : 625, db, r.reason);
          std::printf("  %s: %s\n", r.measured() ? r.text().c_str() : "none", what.c_str());
          if (db < 10) {
            ASSERT_TRUE(r.measured()) << what;
          }
          if (r.measured()) {
            EXPECT_EQ(r.text(), word) << what;
          }
        }
      }
    }
  }
}

// An open stub at the receiver, 75 ohm source and load: 1 / (1 + 37.5 / Z), Z = 75 coth(g l) of the lossy
// line, g = k sqrt(f) (1 + j) + j w / v; its first echo is 2/3 of what comes straight, 2 l / v after it.
std::complex<double> open_stub(double hz, double metres, double db_per_100m) {
  const double f = std::max(hz, 1.0);
  const std::complex<double> turn(0, 2 * pi * f / (0.66 * 299792458.0));
  const double nepers = db_per_100m / 100 / 8.685889638 * std::sqrt(f / 5e6);
  const std::complex<double> gl = (nepers * std::complex<double>(1, 1) + turn) * metres;
  return 1.0 / (1.0 + 0.5 * std::tanh(gl));
}

// A short stub slows the edge and leaves no echo that could be told; a long one's is drawn out by the loss.
TEST(VideoEcho, AStubIsRightOrSaid) {
  int shown = 0;
  for (const bool is_525 : {true, false}) {
    for (const double metres : {5.0, 10.0, 13.0, 16.0, 100.0, 150.0}) {
      SCOPED_TRACE(fmt::format("{} m, {}", metres, is_525 ? 525 : 625));
      const Readings r = at_forty_decibels(through(with_bars(is_525 ? wave_525() : wave_625()), 13.5e6, 0.06,
                                                   [&](double f) { return open_stub(f, metres, 2.4); }),
                                           13.5e6);
      const Reading& distance = get(r, "video.echo.distance");
      if (!distance.measured()) continue;
      ++shown;
      std::printf("    %.1f +- %.1f m (%g)\n", distance.number(), *distance.uncertainty, metres);
      EXPECT_NEAR(distance.number(), metres, *distance.uncertainty);
      EXPECT_LT(*distance.uncertainty, 0.06 * metres);
    }
  }
  EXPECT_GE(shown, 2);
}

// The reflection of a piece of another impedance, in closed form: both ends' steps, and the way between them
// twice more through the cable's own loss.
TEST(VideoEcho, ALossyCablesEchoComesLaterAndTheClaimHoldsIt) {
  int shown = 0;
  for (const auto& [metres, ohm, db] :
       {std::tuple{90.0, 50.0, 3.0}, {60.0, 100.0, 2.4}, {110.0, 110.0, 2.4}, {120.0, 50.0, 0.0}}) {
    SCOPED_TRACE(fmt::format("{} m of {} ohm", metres, ohm));
    const double step = (75 - ohm) / (75 + ohm);
    const auto path = [&, m = metres, d = db](double f) {
      const std::complex<double> once =
          coax(f, d * m / 100) * std::polar(1.0, -2 * pi * f * m / (0.66 * 299792458.0));
      return once * (1 - step * step) / (1.0 - step * step * once * once);
    };
    const Readings r = at_forty_decibels(through(with_bars(wave_625()), 13.5e6, 0.1, path), 13.5e6);
    const Reading& distance = get(r, "video.echo.distance");
    if (!distance.measured()) continue;
    ++shown;
    std::printf("    %.1f +- %.1f m (%g)\n", distance.number(), *distance.uncertainty, metres);
    EXPECT_NEAR(distance.number(), metres, *distance.uncertainty);
    EXPECT_LT(*distance.uncertainty, 0.05 * metres);
  }
  EXPECT_GE(shown, 2);
}

TEST(VideoEcho, UncertaintyIsTrue) {
  const double rate = 13.5e6;
  cover(through(with_bars(wave_625()), rate, 0.06, [](double f) { return 1.0 + echo(f, 0.08, 1.7); }), rate,
        60, {{"video.echo.delay", 1700}, {"video.echo.level", 20 * std::log10(0.08)}},
        [](std::vector<float>& v, unsigned seed) { add_noise(v, 20, seed); });
  cover(through(with_bars(wave_525()), rate, 0.06, [](double f) { return coax(f, 2.5); }), rate, 60,
        {{"video.cable.loss", 2.5}}, [](std::vector<float>& v, unsigned seed) { add_noise(v, 20, seed); });
}

}  // namespace
