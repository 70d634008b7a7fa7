// Faults of cables, ends and sources.
#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <linebench/faultsim/installation.hpp>

namespace linebench::faultsim {

Comb hum_of_mains_voltage(Dice& d);
Comb hum_in_open_input(Dice& d);

namespace {

using Site = Installation;
using Maker = std::function<void(Site&, Dice&)>;

void say(Site& s, const std::string& trial, const std::string& answer) { s.answers[trial] = answer; }
std::string one_of(Dice& d, double p, const char* a, const char* b) { return d.chance(p) ? a : b; }
double parallel(double a, double b) { return a * b / (a + b); }

// rms volts of a hum spectrum set to a level.
void hum_at(AudioPath& p, Comb c, double dbfs) {
  p.add_hum(c, full_scale_v * std::pow(10, dbfs / 20) / rms(c));
}

// What a capacitance in series with an input of 10 kohm lets across.
void across(AudioPath& p, double farad) {
  const auto gain = [&](double hz) {
    const double x = 2 * std::numbers::pi * hz * farad * 10000;
    return db(x / std::sqrt(1 + x * x));
  };
  p.gain_db += gain(1000);
  p.bottom_db += gain(350) - gain(1000);
  p.top_db += gain(2900) - gain(1000);
}

void ends(std::map<std::string, Maker>& m) {
  m["termination-missing"] = [](Site& s, Dice& d) {
    const double load = parallel(d.uniform(5e3, 50e3), d.uniform(5e3, 1e6));
    s.video.gain_db += db(2 * load / (load + 75)) - d.uniform(0, 0.1);
    // The open end returns everything; what the source does not swallow comes back once more.
    s.video.echo =
        std::max(std::abs(s.video.echo), std::pow(10, -(d.uniform(16, 38) + 2 * d.uniform(0.1, 2)) / 20));
    say(s, "terminations", "none");
  };
  m["termination-double"] = [](Site& s, Dice& d) {
    const double load = parallel(75 * d.uniform(0.99, 1.01), 75 * d.uniform(0.98, 1.02));
    s.video.gain_db += db(2 * load / (load + 75));
    s.video.echo = -std::max(std::abs(s.video.echo), std::pow(10, -(9.5 + d.uniform(16, 38)) / 20));
    say(s, "terminations", "two");
  };
  m["ghost-tee"] = [](Site& s, Dice& d) {
    // Two thirds of what enters a stub come on to the receiver, with the sign of the stub's end: an open end
    // or a high impedance returns it upright, a second branch hung on it reversed. Long or lossy stubs return
    // less.
    const double end = std::pow(10, -d.uniform(1, 24) / 20) * (d.chance(0.75) ? 1 : -1);
    s.video.echo = 2.0 / 3.0 * end * std::pow(10, -2 * d.uniform(0.1, 1.5) / 20);
    s.video.gain_db -= d.uniform(0, 0.4);
    s.video.rise_ns *= d.uniform(1, 1.2);
    say(s, "known-cable", "gone");
    // A stub of some metres: what comes back before an edge is over only bends it.
    s.video.echo_s = d.chance(0.35) ? d.uniform(0.03e-6, 0.4e-6) : d.uniform(0.7e-6, 1.5e-6);
    s.visible = s.video.echo_s > echo_told_from_s ? db(std::abs(s.video.echo)) > -30
                                                  : std::abs(db(s.video.near_echo_on_burst())) > 2.5;
  };
  m["cable-impedance"] = [](Site& s, Dice& d) {
    const double z = d.chance(0.6) ? 50 : d.uniform(93, 110);
    const double reflection = (z - 75) / (z + 75);
    // In and out of the piece: both reflections within it have one sign. A source of its own mismatch adds.
    s.video.echo_s = d.uniform(0.3e-6, 1.5e-6);
    s.video.echo = reflection * reflection * d.uniform(0.8, 1) * std::pow(10, d.uniform(0, 7) / 20);
    say(s, "cable-print", "other");
    say(s, "known-cable", "gone");
    s.visible = s.video.echo_s > echo_told_from_s && db(s.video.echo) > -29;
  };
}

void pairs(std::map<std::string, Maker>& m) {
  m["pair-open"] = [](Site& s, Dice& d) {
    AudioPath& p = s.lines[0];
    if (d.chance(0.55)) {
      // What gets across is the capacitance of the break against the input's resistance.
      const double farad = d.log_uniform(100e-12, 30e-9);
      across(p, farad);
      hum_at(p, hum_in_open_input(d), d.uniform(-80, -42));
    } else {
      p.gain_db += db(0.5);
      hum_at(p, hum_in_open_input(d), d.uniform(-86, -52));
    }
    say(s, "pair-loop", "open");
    s.visible = p.gain_db < -5;  // one leg's 6 dB on a line that was loud to begin with hides it
    if (d.chance(0.3)) say(s, "wiggle", "changes");
  };
  m["pair-short"] = [](Site& s, Dice& d) {
    const double ohm = d.log_uniform(0.05, 30);
    s.lines[0].gain_db += db(parallel(ohm, 10000) / (parallel(ohm, 10000) + d.uniform(100, 600)) * 1.05);
    s.lines[0].noise_v *= 0.7;
    say(s, "pair-insulation", "short");
    say(s, "pair-loop", fmt::format("{:.3g} ohm of 20 ohm", std::min(15.0, ohm + d.uniform(0, 10))));
    if (d.chance(0.25)) say(s, "wiggle", "changes");
  };
  m["pair-split"] = [](Site& s, Dice& d) {
    s.crosstalk_db = d.uniform(-54, -20);
    hum_at(s.lines[0], hum_in_open_input(d), d.uniform(-86, -54));
    s.lines[0].top_db -= d.uniform(0, 1);
    say(s, "neighbour-tone", "heard");
    say(s, "pair-legs", "split");
    s.visible = s.crosstalk_db > -46 && s.crosstalk_db > db(rms(s.lines[0].hum) / full_scale_v) + 18 + 8;
  };
  m["polarity-audio"] = [](Site& s, Dice&) {
    s.lines[0].reversed = true;
    say(s, "pair-legs", "reversed");
  };
  m["polarity-video"] = [](Site& s, Dice& d) {
    s.video.inverted = true;
    say(s, "pair-legs", one_of(d, 0.8, "reversed", "right"));
  };
}

void cables(std::map<std::string, Maker>& m) {
  m["shield-broken"] = [](Site& s, Dice& d) {
    const double level = d.uniform(-78, -40);
    if (d.chance(0.12)) {
      // The return of an unbalanced line is open: what the supply's capacitor against the mains lets through
      // (half the mains behind it) has the input alone to go through.
      const double farad = d.log_uniform(0.2e-9, 5e-9);
      const double ohm = d.uniform(10e3, 50e3);
      const double volts =
          0.5 * (s.mains_hz > 55 ? 120 : 230) * 2 * std::numbers::pi * s.mains_hz * farad * ohm;
      hum_at(s.lines[0], hum_of_mains_voltage(d), std::min(-4.0, db(volts / full_scale_v)));
    } else if (d.chance(0.55)) {
      AudioPath& p = s.lines[0];
      hum_at(p, hum_in_open_input(d), level);
      p.noise_v = std::hypot(p.noise_v, full_scale_v * std::pow(10, (level - d.uniform(4, 18)) / 20));
      if (d.chance(0.4)) p.phone_v = full_scale_v * std::pow(10, d.uniform(-95, -65) / 20);
      if (d.chance(0.3)) p.whistle_v = full_scale_v * std::pow(10, d.uniform(-95, -72) / 20);
      const double hiss = db(p.noise_v / full_scale_v);
      s.visible = level > -64 &&
                  (hiss > -68 || db(p.phone_v / full_scale_v) > -75 || db(p.whistle_v / full_scale_v) > -82);
    } else {
      const Comb c = hum_in_open_input(d);
      const double mv = d.log_uniform(1.5, 70);
      for (int n = 1; n <= harmonics; ++n)
        s.video.hum_mv[n] = std::hypot(s.video.hum_mv[n], mv * c[n] / rms(c));
      s.video.noise_mv = std::hypot(s.video.noise_mv, d.log_uniform(1, 12));
      s.visible = mv > 4 && s.video.noise_mv > 4;
    }
    say(s, "shield-continuity", one_of(d, 0.72, "open", "high"));
    if (d.chance(0.4)) say(s, "wiggle", "changes");
    say(s, "known-cable", "gone");
  };
  m["connector-bad"] = [](Site& s, Dice& d) {
    const double rate = d.log_uniform(1, 200);  // breaks a minute
    const double ohm = d.log_uniform(0.5, 400);
    if (d.chance(0.55)) {
      AudioPath& p = s.lines[0];
      const double way = d.uniform(0, 1);
      if (way < 0.6) {
        // Breaks shorter than a millisecond or two are clicks, longer ones silence.
        p.clicks += rate * d.uniform(0.5, 1.5);
        p.dropouts += rate * d.uniform(0.1, 0.5);
        p.thd_percent = std::hypot(p.thd_percent, d.log_uniform(0.02, 4));
      } else if (way < 0.82) {
        p.dropouts += rate * d.uniform(0.3, 1);
        p.clicks += rate * d.uniform(0, 0.05);
      } else {
        // A film's resistance jumps, in the loop of source and input.
        const double loop_ohm = d.chance(0.5) ? 1200 : 10600;
        p.steps = d.log_uniform(2, 60);
        p.step_db = db(loop_ohm / (loop_ohm + d.log_uniform(20, 20000)));
      }
      p.gain_db += db(600 / (600 + ohm));
    } else {
      // A break of a millisecond or so costs a dozen lines of some million a minute.
      s.video.missing += rate * d.log_uniform(3, 60) / 940;
      s.video.jitter_ns = std::hypot(s.video.jitter_ns, d.log_uniform(2, 100));
      s.video.gain_db += db(150 / (150 + 0.1 * ohm));
      if (d.chance(0.4)) s.video.impulses = d.log_uniform(5, 2000);
    }
    const char* looks[] = {"corroded", "loose", "bent", "crushed"};
    say(s, "connector", d.chance(0.92) ? looks[std::min(3, d.pick(10) / 3)] : "sound");
    say(s, "wiggle", one_of(d, 0.93, "changes", "nothing"));
    // A decibel is about what can be heard.
    s.visible = s.lines[0].clicks + s.lines[0].dropouts > 20 || s.video.missing > 1 ||
                (s.lines[0].steps > 6 && s.lines[0].step_db < -1);
  };
  m["cable-long"] = [](Site& s, Dice& d) {
    if (d.chance(0.7)) {
      const double loss = d.uniform(1.5, 13);
      s.video.loss_db += loss;
      const double fsc = s.system == "625" ? 4.43 : 3.58;
      s.video.cable_burst_db = -loss * std::sqrt(fsc / 5);
      s.video.burst_db += s.video.cable_burst_db;
      const double slower = s.system == "625" ? 200.0 * 200 - 140.0 * 140 : 0;
      s.video.rise_ns =
          std::sqrt(std::pow(rise_behind_cable(s.video.loss_db), 2) + slower) * d.uniform(0.97, 1.05);
      s.video.gain_db -= loss * d.uniform(0.02, 0.1);
      if (loss > 11) s.video.colour = d.chance(0.6);
      s.visible = loss > 3.5;
    } else {
      AudioPath& p = s.lines[0];
      const double km = d.log_uniform(0.6, 6);
      const double ohm = 180 * km;
      const double farad = 52e-9 * km * d.uniform(1, 1.8);  // water raises it
      const double source = d.uniform(100, 600);
      const double one = pair_gain_db(source, ohm, farad, 1000);
      p.gain_db += one - pair_gain_db(source, 1, 1e-12, 1000);
      p.top_db += pair_gain_db(source, ohm, farad, 2900) - one;
      p.bottom_db += pair_gain_db(source, ohm, farad, 350) - one;
      if (d.chance(0.5)) say(s, "pair-insulation", "leaks");
      s.visible = p.top_db < -4;
    }
    if (d.chance(0.35)) say(s, "connector", "wet");
    say(s, "known-cable", "gone");
  };
}

void levels(std::map<std::string, Maker>& m) {
  m["gain-structure"] = [](Site& s, Dice& d) {
    // The tone leaves at its level less a loss, and what made up for it lifts the noise of the stage between;
    // or the source's own stage hisses.
    const double stage_v = full_scale_v * std::pow(10, d.uniform(-88, -76) / 20);
    const double made_up = std::pow(10, d.uniform(3, 42) / 20);
    const int from = d.chance(0.5) ? 0 : 1;  // one line, or a unit that both go through
    for (int k = from; k < 2; ++k) {
      AudioPath& p = s.lines[static_cast<std::size_t>(k)];
      p.noise_v = std::hypot(p.noise_v, stage_v * made_up);
    }
    if (d.chance(0.75)) {
      say(s, "level-chain", "low, then made up");
    } else {
      say(s, "known-source", "gone");
    }
    s.visible = db(s.lines[1].noise_v / full_scale_v) > -58;
  };
  m["stage-overdriven"] = [](Site& s, Dice& d) {
    // A stage that is not symmetrical adds a second harmonic. The level is made right behind it.
    const double third = bent_third(d.log_uniform(0.12, 1.6));
    const double second = third * d.uniform(0, 1.5);
    const bool both = d.chance(0.5);
    for (AudioPath& p : s.lines) {
      p.thd_percent = std::hypot(p.thd_percent, 100 * std::hypot(third, second));
      if (!both) break;
    }
    if (d.chance(0.8)) {
      say(s, "level-chain", "too high somewhere");
    } else {
      say(s, "known-source", "gone");
    }
    s.visible = s.lines[0].thd_percent > 1;
  };
  m["unit-off"] = [](Site& s, Dice& d) {
    const double farad = d.log_uniform(0.2e-12, 20e-12);  // of an open switch or relay
    const bool both = d.chance(0.88);
    for (AudioPath& p : s.lines) {
      across(p, farad);
      if (!both) break;
    }
    say(s, "unit-look", d.chance(0.97) ? one_of(d, 0.58, "off or muted", "another input") : "right");
    if (d.chance(0.25)) say(s, "port-light", "dark");
  };
}

void programme(std::map<std::string, Maker>& m) {
  const auto known = [](Site& s) { say(s, "known-source", "gone"); };
  m["level-consumer-into-professional"] = [known](Site& s, Dice& d) {
    s.feed_db += db(0.316228 / 1.227652) + d.normal(0, 0.3);
    s.visible = s.feed_db + s.feed[0].gain_db < -9.5;  // a programme that was loud to begin with hides it
    say(s, "source-setting", one_of(d, 0.94, "other level", "right"));
    known(s);
  };
  m["level-professional-into-consumer"] = [known](Site& s, Dice& d) {
    s.feed_db += db(1.227652 / 0.316228) + d.normal(0, 0.3);
    for (AudioPath& p : s.feed) p.clipped += d.log_uniform(1, 30000);
    say(s, "source-setting", one_of(d, 0.94, "other level", "right"));
    known(s);
  };
  m["source-one-side"] = [known](Site& s, Dice& d) {
    s.feed_one_side = true;
    if (d.chance(0.6)) say(s, "source-setting", "one side or mono");
    known(s);
  };
  m["source-mono"] = [known](Site& s, Dice& d) {
    s.feed_mono = true;
    say(s, "source-setting", one_of(d, 0.88, "one side or mono", "right"));
    known(s);
  };
  m["source-reversed"] = [known](Site& s, Dice&) {
    s.feed_reversed = true;
    known(s);
  };
  m["source-clipped"] = [known](Site& s, Dice& d) {
    for (AudioPath& p : s.feed) {
      p.clipped += d.log_uniform(30, 100000);
      p.clip_dbfs = d.uniform(-9, -0.8);
    }
    s.feed_db += d.uniform(0, 5);
    known(s);
    s.visible = s.feed[0].clipped > 150;
  };
  m["source-too-loud"] = [known](Site& s, Dice& d) {
    const double by = d.uniform(6, 18);
    s.feed_db += by;
    for (AudioPath& p : s.feed) p.clipped += by > 12 ? d.log_uniform(1, 20000) : 0;
    say(s, "source-setting", one_of(d, 0.94, "too loud", "right"));
    known(s);
    s.visible = s.feed_db + s.feed[0].gain_db > 10;
  };
}

void cameras(std::map<std::string, Maker>& m) {
  const auto known = [](Site& s) { say(s, "known-source", "gone"); };
  m["wrong-standard"] = [known](Site& s, Dice& d) {
    s.video.system = s.system == "625" ? "525" : "625";
    s.field_hz = s.system == "625" ? 60000.0 / 1001 : 50;
    s.video.setup_mv = s.video.system == "525" ? 53.6 : 0;
    say(s, "source-setting", one_of(d, 0.94, "other standard", "right"));
    known(s);
  };
  m["setup-wrong"] = [known](Site& s, Dice& d) {
    s.video.setup_mv = s.system == "525" ? d.normal(0, 2) : d.normal(53.6, 2);
    if (s.system != "625") s.video.system = s.system == "525" ? "525-no-setup" : "525";
    if (d.chance(0.6)) say(s, "source-setting", "other standard");
    known(s);
  };
  m["sync-low"] = [known](Site& s, Dice& d) {
    const double low = d.uniform(1.2, 9);
    s.video.sync_db -= low;
    if (low > 6) s.video.missing += d.log_uniform(0.05, 10);
    known(s);
    s.visible = low > 2.2;
  };
  m["video-noisy"] = [known](Site& s, Dice& d) {
    // Gain makes up for the light that is not there, and the sensor's noise comes up with it.
    s.video.noise_mv = std::hypot(s.video.noise_mv, std::pow(2, d.uniform(0.5, 5.5)));
    known(s);
    s.visible = s.video.noise_mv > 6.5;
  };
  m["video-tilt"] = [](Site& s, Dice& d) {
    // What a high-pass takes off a level in a field of 20 ms: 75 ohm in and out, and what is left of 470 uF.
    const double farad = d.log_uniform(20e-6, 470e-6);
    s.video.tilt = std::hypot(s.video.tilt, 100 * (1 - std::exp(-0.02 / (150 * farad))));
    say(s, d.chance(0.5) ? "known-receiver" : "known-source", "gone");
    s.visible = s.video.tilt > 6;
  };
  m["sync-missing"] = [known](Site& s, Dice& d) {
    s.video.missing += d.log_uniform(1, 300);
    s.video.jitter_ns = std::hypot(s.video.jitter_ns, d.uniform(0, 8));
    known(s);
    s.visible = s.video.missing > 2;
  };
  m["sync-timing"] = [known](Site& s, Dice& d) {
    // A head that changes a little early or late, or half a line lost where line pulses are left out: 0.1 to
    // some 3 us, either way.
    s.video.flagging_us = d.log_uniform(0.08, 3) * (d.chance(0.5) ? 1 : -1);
    s.video.jitter_ns = std::hypot(s.video.jitter_ns, d.log_uniform(1, 40));
    known(s);
    if (d.chance(0.3)) say(s, "known-receiver", "gone");
    s.visible = std::abs(s.video.flagging_us) > 0.25;
  };
  m["colour-parts"] = [known](Site& s, Dice& d) {
    using enum VideoPath::Parts;
    static constexpr VideoPath::Parts ways[] = {Exchanged, Exchanged, BothReversed, OneReversed, OneOpen};
    s.video.parts = ways[d.pick(5)];
    if (d.chance(0.68)) {
      known(s);
    } else {
      say(s, "known-receiver", "gone");
    }
  };
  m["picture-controls"] = [](Site& s, Dice& d) {
    VideoPath& v = s.video;
    switch (d.pick(5)) {
      case 0:
        v.hue_deg += d.uniform(5, 75) * (d.chance(0.5) ? 1 : -1);
        s.visible = std::abs(v.hue_deg) > 10;
        break;
      case 1:
        v.brightness += d.chance(0.6) ? d.uniform(2, 25) : d.uniform(-7, -2);
        s.visible = std::abs(v.brightness) > 4;
        break;
      case 2:
        v.contrast_db += d.chance(0.5) ? d.uniform(0.7, 4) : d.uniform(-6, -0.7);
        s.visible = std::abs(v.contrast_db + v.white_db - v.sync_db) > 2.5;
        break;
      default:
        v.colour_db += d.chance(0.6) ? d.uniform(0.8, 6) : d.uniform(-12, -0.8);
        s.visible = std::abs(v.colour_db - v.burst_db) > 2.5;  // the burst moves it as well
    }
    say(s, "receiver-setting", d.chance(0.95) ? "off the middle" : "middle");
    say(s, "known-receiver", "gone");
  };
  m["camera-free-running"] = [](Site& s, Dice& d) {
    s.field_hz *= 1 + d.uniform(1, 4) * 1e-3 * (d.chance(0.5) ? 1 : -1);
    if (d.chance(0.5)) say(s, "known-source", "gone");
    s.visible = false;  // harmless by itself; never scored alone
  };
  m["not-interlaced"] = [known](Site& s, Dice&) {
    s.video.interlaced = false;
    known(s);
  };
  m["burst-weak"] = [known](Site& s, Dice& d) {
    if (d.chance(0.4)) {
      s.video.colour = false;
    } else {
      s.video.burst_db -= d.uniform(2, 17);
    }
    known(s);
    s.visible = !s.video.colour || s.video.burst_db < -3;
  };
  m["source-monochrome"] = [known](Site& s, Dice&) {
    s.video.colour = false;
    say(s, "camera-colour", "black and white");
    known(s);
  };
  m["source-video-high"] = [](Site& s, Dice& d) {
    s.video.gain_db += d.uniform(0.8, 4);
    if (d.chance(0.4)) say(s, "source-setting", "other level");
    if (d.chance(0.7)) say(s, "known-source", "gone");
    s.visible = s.video.gain_db > 1.5;
  };
  m["source-video-low"] = [](Site& s, Dice& d) {
    s.video.gain_db -= d.uniform(0.8, 7);
    if (d.chance(0.4)) say(s, "source-setting", "other level");
    if (d.chance(0.7)) say(s, "known-source", "gone");
    s.visible = s.video.gain_db < -1.5;
  };
  m["video-none"] = [](Site& s, Dice& d) {
    s.video.present = false;
    if (d.chance(0.5)) say(s, "port-light", "dark");
    if (d.chance(0.5)) say(s, "known-source", "gone");
    if (d.chance(0.3)) say(s, "known-cable", "gone");
  };
  m["input-overloaded"] = [](Site& s, Dice& d) {
    // A stage that bends like a hyperbolic tangent: gain at black against gain at white.
    const double drive = d.uniform(0.25, 1.1);
    const auto gain = [](double x) { return x < 1e-6 ? 1 : std::tanh(x) / x; };
    s.video.nonlinearity =
        std::hypot(s.video.nonlinearity, 100 * (std::pow(std::cosh(drive), 2) - 1) * d.uniform(0.4, 0.9));
    s.video.nonlinearity = std::min(95.0, s.video.nonlinearity);
    s.video.white_db += db(gain(drive));
    s.video.sync_db += db(gain(0.4 * drive));
    say(s, "known-receiver", "gone");
    s.visible = s.video.nonlinearity > 14;
  };
  m["recorder-fault"] = [](Site& s, Dice& d) {
    const int way = d.pick(4);
    AudioPath* all[] = {&s.lines[0], &s.lines[1], &s.feed[0], &s.feed[1]};
    if (way == 0) {
      const double gaps = d.log_uniform(2, 60);
      const double ticks = gaps * d.uniform(0.5, 1.5);
      for (AudioPath* p : all) {
        p->dropouts += gaps;
        p->clicks += ticks;
      }
      s.gaps_in_all = true;
      s.video.lost_frames = d.log_uniform(3, 150);
      s.visible = gaps > 4;
    } else if (way == 1) {
      // A laptop's switch-mode charger: common-mode current through the signal's return.
      Comb c{};
      for (int n = 1; n <= harmonics; n += 2) c[n] = d.uniform(0.3, 1) / std::sqrt(1 + std::pow(n / 12.0, 2));
      for (int n = 2; n <= harmonics; n += 2)
        c[n] = d.uniform(0.1, 0.5) / std::sqrt(1 + std::pow(n / 12.0, 2));
      const double level = d.uniform(-76, -50);
      for (AudioPath* p : all) hum_at(*p, c, level);
      for (AudioPath* p : all)
        p->noise_v = std::hypot(p->noise_v, full_scale_v * std::pow(10, (level - d.uniform(4, 18)) / 20));
      s.visible = level > -64;
    } else if (way == 2) {
      // A gain control that hunts, by an eighth or so of a decibel up to half the picture.
      s.video.hunting_db = d.log_uniform(0.12, 6);
      s.visible = s.video.hunting_db > 0.8;
    } else {
      for (AudioPath* p : all) {
        p->gain_db += d.uniform(11, 18);
        p->clipped += d.log_uniform(30, 60000);
        p->thd_percent = std::hypot(p->thd_percent, d.log_uniform(0.5, 20));
      }
    }
    say(s, "loop-back", "same");
  };
}

}  // namespace

void path_faults(std::map<std::string, Maker>& m) {
  ends(m);
  pairs(m);
  cables(m);
  levels(m);
}

void source_faults(std::map<std::string, Maker>& m) {
  programme(m);
  cameras(m);
}

}  // namespace linebench::faultsim
