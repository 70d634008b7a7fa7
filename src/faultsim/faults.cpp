// The faults as circuits: what each does to the wires of an installation, and what a person would then find.
#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <linebench/faultsim/installation.hpp>

namespace linebench::faultsim {
namespace {

using Site = Installation;

// Voltages between earths of a building: the load currents' spectrum on the earth's resistance.
Comb building_earth(Dice& d) {
  Comb c{};
  c[1] = 1;
  c[3] = d.uniform(0.08, 0.35);
  c[5] = d.uniform(0.04, 0.2);
  c[7] = d.uniform(0.03, 0.12);
  c[9] = d.uniform(0.02, 0.09);
  // Limits of IEC 61000-3-2 class A fall as 1/n above the 15th; loads stay well below them.
  for (int n = 11; n <= harmonics; n += 2) c[n] = d.uniform(0.2, 1) * 0.2 / n;
  for (int n = 2; n <= harmonics; n += 2) c[n] = d.uniform(0.1, 1) * 0.02 / n;
  return c;
}
// Induced by the current of a loaded mains cable: voltage goes with the multiple times the current.
Comb induced_current(Dice& d) {
  Comb c = building_earth(d);
  const double load = d.uniform(0.5, 2);  // how distorted the current is
  for (int n = 2; n <= harmonics; ++n) c[n] *= load * n * 0.7;
  return c;
}
// Coupled by capacitance from the mains' voltage, which is flat-topped.
Comb coupled_voltage(Dice& d) {
  Comb c{};
  c[1] = 1;
  const double share[] = {
      0, 0, 0, d.uniform(0.003, 0.02), 0, d.uniform(0.008, 0.04), 0, d.uniform(0.004, 0.025)};
  for (int n = 3; n <= 7; n += 2) c[n] = n * share[n];
  for (int n = 9; n <= harmonics; n += 2) c[n] = n * d.uniform(0.2, 1) * 0.03 / n;
  for (int n = 2; n <= harmonics; n += 2) c[n] = d.uniform(0.2, 1) * 0.01;
  return c;
}
void scale(Comb& c, double by) {
  for (double& x : c) x *= by;
}
void to_rms(Comb& c, double volts) { scale(c, volts / rms(c)); }
void add_video_hum(Site& s, const Comb& c, double rms_mv) {
  const double by = rms_mv / rms(c);
  for (int n = 1; n <= harmonics; ++n) s.video.hum_mv[n] = std::hypot(s.video.hum_mv[n], by * c[n]);
}
double video_hum_pp(const Site& s) { return 2.8 * rms(s.video.hum_mv); }
double hum_dbfs(const AudioPath& p) { return db(rms(p.hum) / full_scale_v); }

void everywhere(Site& s, const Comb& c, double volts, Dice& d) {
  for (AudioPath& p : s.lines) p.add_hum(c, volts * d.uniform(0.5, 1.5) / rms(c));
  for (AudioPath& p : s.feed) p.add_hum(c, volts * d.uniform(0.5, 1.5) / rms(c));
}
// One path; its neighbours get next to nothing.
void in_line(Site& s, const Comb& c, double volts) { s.lines[0].add_hum(c, volts / rms(c)); }

void say(Site& s, const std::string& trial, const std::string& answer) { s.answers[trial] = answer; }
std::string one_of(Dice& d, double p, const char* a, const char* b) { return d.chance(p) ? a : b; }
std::string ohms(double v) { return fmt::format("{:.3g} ohm", v); }

bool audible(const Site& s) {
  return std::any_of(s.lines.begin(), s.lines.end(), [](const AudioPath& p) { return hum_dbfs(p) > -62; });
}
bool seen(const Site& s) { return video_hum_pp(s) > 10; }

using Maker = std::function<void(Site&, Dice&)>;

void earth_faults(std::map<std::string, Maker>& m) {
  m["earth-loop-video"] = [](Site& s, Dice& d) {
    Comb c = building_earth(d);
    // Loop current times the shield's resistance; both from a volt-drop of the building and a loop of an ohm
    // or so.
    const double earth_v = d.log_uniform(0.005, 0.35);
    const double shield_ohm = d.uniform(0.2, 1.5);
    const double rest_ohm = d.uniform(0.1, 1.5);
    const double amps = earth_v / (shield_ohm + rest_ohm);
    add_video_hum(s, c, 1000 * amps * shield_ohm);
    say(s, "isolate-video", one_of(d, 0.88, "gone", "less"));
    say(s, "earth-current", fmt::format("{:.3g} mA", 1000 * amps));
    if (d.chance(0.15)) say(s, "earth-points", "two");
    if (d.chance(0.3)) say(s, "building-load", "changes");
    s.visible = seen(s);
  };
  m["earth-loop-audio"] = [](Site& s, Dice& d) {
    Comb c = building_earth(d);
    const double drop = d.log_uniform(0.0015, 0.25);
    in_line(s, c, drop);
    say(s, "isolate-audio", one_of(d, 0.88, "gone", "less"));
    say(s, "earth-current", fmt::format("{:.3g} mA", 1000 * drop / d.uniform(0.2, 1.5)));
    if (d.chance(0.3)) say(s, "building-load", "changes");
    s.visible = audible(s);
  };
  m["earth-missing"] = [](Site& s, Dice& d) {
    // Leakage of the supplies' capacitors through the bad earth; beyond some hundred kilohm half the mains
    // stands there.
    const double earth_ohm = d.log_uniform(30, 3e6);
    const double chassis_v = 1 / (1 / (d.uniform(0.3e-3, 1.5e-3) * earth_ohm) + 1 / 110.0);
    Comb c{};
    const double slope = d.uniform(-0.8, 0.1);
    for (int n = 1; n <= harmonics; n += 2)
      c[n] = std::pow(n, slope) * d.uniform(0.5, 1) * (n == 1 ? 1.3 : 0.55) /
             std::sqrt(1 + std::pow(n / 25.0, 2));
    for (int n = 2; n <= harmonics; n += 2) c[n] = 0.03 * c[1] * d.uniform(0.2, 1);
    everywhere(s, c, chassis_v * d.log_uniform(0.0006, 0.004), d);
    add_video_hum(s, c, 1000 * chassis_v * d.log_uniform(0.0001, 0.0008));
    for (AudioPath& p : s.lines) p.clicks += chassis_v > 20 ? d.uniform(0, 6) : 0;
    say(s, "earth-ohms", ohms(earth_ohm));
    if (d.chance(0.4)) say(s, "isolate-video", "less");
    if (d.chance(0.4)) say(s, "isolate-audio", "less");
    s.visible = audible(s) || seen(s);
  };
  m["earth-two-points"] = [](Site& s, Dice& d) {
    Comb c = building_earth(d);
    const double earth_v = d.log_uniform(0.006, 0.35);
    everywhere(s, c, earth_v * d.uniform(0.2, 0.6), d);
    add_video_hum(s, c, 1000 * earth_v * d.uniform(0.3, 0.8));
    say(s, "earth-points", "two");
    say(s, "earth-current", fmt::format("{:.3g} mA", 1000 * earth_v / d.uniform(0.1, 0.8)));
    if (d.chance(0.5)) say(s, "building-load", "changes");
    say(s, "isolate-video", one_of(d, 0.5, "less", "gone"));
    say(s, "isolate-audio", one_of(d, 0.5, "less", "gone"));
    s.visible = audible(s) && seen(s);
  };
  m["neutral-current"] = [](Site& s, Dice& d) {
    Comb c = building_earth(d);
    c[3] = 1;
    c[1] = d.uniform(0.25, 0.8);
    c[9] = d.uniform(0.05, 0.3);
    c[15] = d.uniform(0.02, 0.1);
    const double earth_v = d.log_uniform(0.008, 0.35);
    everywhere(s, c, earth_v * d.uniform(0.2, 0.6), d);
    add_video_hum(s, c, 1000 * earth_v * d.uniform(0.3, 0.8));
    say(s, "building-load", "changes");
    say(s, "earth-current", fmt::format("{:.3g} mA", 1000 * earth_v / d.uniform(0.05, 0.5)));
    say(s, "isolate-video", one_of(d, 0.5, "less", "gone"));
    say(s, "isolate-audio", one_of(d, 0.5, "less", "gone"));
    s.visible = audible(s) && seen(s);
  };
}

void supply_faults(std::map<std::string, Maker>& m) {
  m["supply-ripple"] = [](Site& s, Dice& d) {
    const Comb r = rectifier_ripple(s.mains_hz, d.uniform(14, 18), d.uniform(0.3, 1.2),
                                    d.log_uniform(150e-6, 6000e-6), d.uniform(0.2, 0.8));
    Comb ac = r;
    ac[0] = 0;
    const double ripple_v = rms(ac);
    const double rejection = std::pow(10, -d.uniform(32, 55) / 20);
    if (d.chance(0.65)) {
      everywhere(s, ac, ripple_v * rejection, d);
    } else {
      in_line(s, ac, ripple_v * rejection);
    }
    add_video_hum(s, ac, 1000 * ripple_v * std::pow(10, -d.uniform(28, 50) / 20));
    say(s, "supply-ripple", fmt::format("{:.3g} mV", 1000 * ripple_v));
    say(s, "supply-loaded", fmt::format("{:.2f} V of 12 V", 12 * (1 - d.uniform(0, 0.08))));
    say(s, "other-supply", "gone");
    if (d.chance(0.2)) say(s, "module-pull", "hum gone");
    s.visible = audible(s) || video_hum_pp(s) > 12;
  };
  m["supply-sagging"] = [](Site& s, Dice& d) {
    const double sag = d.uniform(0.06, 0.5);
    const bool module = d.chance(0.5);
    for (AudioPath& p : s.lines) {
      p.gain_db += db(1 - sag) * d.uniform(0.2, 1.2);
      p.thd_percent = std::hypot(p.thd_percent, 0.06 * std::exp(11 * sag));
      if (sag > 0.32) p.dropouts += d.uniform(0, 15);
    }
    s.video.gain_db += db(1 - sag) * d.uniform(0.2, 0.8);
    s.video.nonlinearity = std::hypot(s.video.nonlinearity, 70 * sag * sag * d.uniform(0.3, 1));
    say(s, "supply-loaded", fmt::format("{:.2f} V of 12 V", 12 * (1 - sag)));
    say(s, "supply-ripple", fmt::format("{:.3g} mV", d.log_uniform(10, 300)));
    if (sag > 0.4 && d.chance(0.6)) say(s, "port-light", "dark");
    if (module) {
      say(s, "module-pull", "supply recovers");
    } else {
      say(s, "other-supply", "gone");
    }
    s.visible = sag > 0.25;
  };
  m["supply-switching"] = [](Site& s, Dice& d) {
    s.video.tone_mv = d.log_uniform(2, 90);
    s.video.tone_hz = d.log_uniform(35e3, 450e3);
    s.video.noise_mv = std::hypot(s.video.noise_mv, 0.12 * s.video.tone_mv);
    for (AudioPath& p : s.lines)
      p.noise_v = std::hypot(p.noise_v, s.video.tone_mv * 1e-3 * d.log_uniform(0.005, 0.15));
    say(s, "supply-ripple", fmt::format("{:.3g} mV", d.log_uniform(8, 200)));
    say(s, "other-supply", "gone");
    s.visible = s.video.tone_mv > 5;
  };
}

void pickup_faults(std::map<std::string, Maker>& m) {
  m["transformer-field"] = [](Site& s, Dice& d) {
    Comb c{};
    c[1] = 1;
    c[3] = 3 * d.uniform(0.01, 0.09);  // the flux's own distortion, times the multiple
    c[5] = 5 * d.uniform(0.003, 0.025);
    c[7] = 7 * d.uniform(0.001, 0.008);
    c[9] = 9 * d.uniform(0.0003, 0.003);
    for (int n = 11; n <= 25; n += 2) c[n] = n * 0.0004 * d.uniform(0.2, 1);
    c[2] = 0.01 * d.uniform(0.2, 1);
    in_line(s, c, d.log_uniform(0.0013, 0.2));
    add_video_hum(s, c, d.log_uniform(0.1, 6));
    say(s, "move-cable", "less");
    if (d.chance(0.12)) say(s, "isolate-audio", "less");
    s.visible = audible(s);
  };
  m["cable-beside-mains"] = [](Site& s, Dice& d) {
    Comb c = d.chance(0.5) ? induced_current(d) : coupled_voltage(d);
    in_line(s, c, d.log_uniform(0.001, 0.12));
    add_video_hum(s, c, d.log_uniform(0.1, 8));
    say(s, "move-cable", "less");
    if (d.chance(0.4)) say(s, "building-load", "changes");
    if (d.chance(0.25)) say(s, "isolate-audio", "less");
    s.visible = audible(s);
  };
  m["dimmer"] = [](Site& s, Dice& d) {
    say(s, "dimmer-off", "gone");
    if (d.chance(0.75)) say(s, "move-cable", "less");
    if (d.chance(0.5)) say(s, "building-load", "changes");
    if (d.chance(0.2)) {
      // Beside the video cable: its edges get in, one at each cut.
      s.video.impulses = 2 * s.mains_hz;
      s.video.impulses_by_mains = true;
      return;
    }
    Comb c = phase_cut(d.uniform(0.7, 2.5));
    const double corner = d.uniform(30, 100);
    for (int n = 1; n <= harmonics; ++n) c[n] *= n / std::sqrt(1 + std::pow(n / corner, 2));
    c[0] = 0;
    const double volts = d.log_uniform(0.001, 0.12);
    in_line(s, c, volts);
    if (d.chance(0.3)) everywhere(s, c, volts, d);
    add_video_hum(s, c, d.log_uniform(0.1, 6));
    s.visible = audible(s);
  };
  m["phone-pickup"] = [](Site& s, Dice& d) {
    s.lines[0].phone_v = full_scale_v * std::pow(10, d.uniform(-82, -28) / 20);
    say(s, "phones-away", "gone");
    s.visible = db(s.lines[0].phone_v / full_scale_v) > -72;
  };
  m["radio-pickup"] = [](Site& s, Dice& d) {
    s.video.tone_mv = d.log_uniform(2, 60);
    // Medium wave and short wave up to where the video ends.
    s.video.tone_hz = d.log_uniform(620e3, 5e6);
    if (d.chance(0.65)) say(s, "move-cable", "less");
    s.visible = s.video.tone_mv > 5;
  };
  m["video-into-audio"] = [](Site& s, Dice& d) {
    const double level = d.uniform(-86, -40);
    s.lines[0].whistle_v = full_scale_v * std::pow(10, level / 20);
    // The field pulse, some 2.5 lines of 262.5 or 312.5 wide, through a small capacitance or a common
    // resistance.
    const double by = s.lines[0].whistle_v * std::pow(10, d.uniform(-18, 3) / 20);
    const double slope = d.uniform(0, 1);
    Comb c{};
    for (int n = 1; n <= harmonics; ++n) {
      const double x = std::numbers::pi * n * 0.0087;
      c[n] = std::sin(x) / x * std::pow(n, slope) / std::sqrt(1 + std::pow(n / 20.0, 2));
    }
    to_rms(c, by);
    for (int n = 1; n <= harmonics; ++n) s.lines[0].field_hum[n] = c[n];
    say(s, "video-off", "gone");
    s.visible = level > -74;
  };
  m["audio-crosstalk"] = [](Site& s, Dice& d) {
    // Capacitance between pairs on a 600 ohm line at 1 kHz.
    const double farad = d.log_uniform(0.3e-9, 60e-9);
    s.crosstalk_db = db(2 * std::numbers::pi * 1000 * farad * 300);
    say(s, "neighbour-tone", "heard");
    s.visible = s.crosstalk_db > -46;
  };
}

}  // namespace

// In faults_paths.cpp.
void path_faults(std::map<std::string, Maker>& m);
void source_faults(std::map<std::string, Maker>& m);
Comb hum_of_mains_voltage(Dice& d) { return coupled_voltage(d); }
Comb hum_in_open_input(Dice& d) { return d.chance(0.5) ? coupled_voltage(d) : induced_current(d); }

namespace {
const std::map<std::string, Maker>& makers() {
  static const std::map<std::string, Maker> all = [] {
    std::map<std::string, Maker> m;
    earth_faults(m);
    supply_faults(m);
    pickup_faults(m);
    path_faults(m);
    source_faults(m);
    return m;
  }();
  return all;
}
}  // namespace

Installation sound_installation(Dice& d) {
  Installation s;
  const bool sixty = d.chance(0.5);
  s.mains_hz = sixty ? 60 + d.normal(0, 0.02) : 50 + d.normal(0, 0.02);
  s.system = sixty ? (d.chance(0.8) ? "525" : "525-no-setup") : "625";
  s.field_hz = sixty ? 60000.0 / 1001 : 50.0;
  if (!sixty && d.chance(0.2)) s.field_hz = s.mains_hz;  // a line-locked camera
  s.video.system = s.system;
  s.video.setup_mv = s.system == "525" ? d.normal(53.6, 2) : d.normal(0, 2);
  const auto path = [&](AudioPath& p) {
    p.noise_v = full_scale_v * std::pow(10, d.uniform(-90, -74) / 20);
    p.gain_db = d.normal(0, 0.8);
    p.thd_percent = d.log_uniform(0.01, 0.15);
    p.clicks = d.chance(0.2) ? d.uniform(0, 1) : 0.05;
    p.top_db = d.normal(-0.4, 0.4);
    p.bottom_db = d.normal(-0.3, 0.3);
    Comb c = building_earth(d);
    p.add_hum(c, full_scale_v * std::pow(10, d.uniform(-106, -82) / 20));
    Comb even{};
    even[2] = 1;
    even[4] = 0.3;
    p.add_hum(even, full_scale_v * std::pow(10, d.uniform(-112, -88) / 20));
  };
  for (AudioPath& p : s.lines) path(p);
  for (AudioPath& p : s.feed) path(p);
  s.feed[1].gain_db = s.feed[0].gain_db + d.normal(0, 0.4);
  s.feed_db = d.normal(0, 2);
  s.crosstalk_db = d.uniform(-84, -58);
  s.video.gain_db = d.normal(0, 0.25);
  s.video.sync_db = d.normal(0, 0.15);
  s.video.white_db = d.normal(0, 0.2);
  s.video.burst_db = d.normal(0, 0.35);
  s.video.jitter_ns = d.log_uniform(1.5, 7);
  s.video.loss_db = d.uniform(0.2, 1.8);
  // The camera's own edge is slower in 625 (200 ns) than the 140 ns the cable was worked out for.
  const double slower = s.system == "625" ? 200.0 * 200 - 140.0 * 140 : 0;
  s.video.rise_ns =
      d.uniform(0.95, 1.1) * std::sqrt(std::pow(rise_behind_cable(s.video.loss_db), 2) + slower);
  s.video.noise_mv = d.log_uniform(0.8, 2.5);
  s.video.tone_mv = d.chance(0.3) ? d.log_uniform(0.2, 1.2) : 0;
  s.video.tone_hz = d.log_uniform(50e3, 4e6);
  s.video.echo = std::pow(10, -d.uniform(37, 55) / 20) * (d.chance(0.5) ? 1 : -1);
  s.video.echo_s = d.uniform(0.25e-6, 0.9e-6);
  s.video.nonlinearity = d.log_uniform(0.5, 3);
  s.video.tilt = d.log_uniform(0.3, 1.5);
  add_video_hum(s, building_earth(d), d.log_uniform(0.1, 1.4));
  s.video.hue_deg = d.normal(0, 1.2);
  s.video.colour_db = d.normal(0, 0.3);
  s.video.brightness = d.normal(0, 0.5);
  return s;
}

void put_fault(Installation& s, const std::string& fault, Dice& dice) {
  const bool before = s.faults.empty() || s.visible;
  makers().at(fault)(s, dice);
  s.visible = s.visible && before;
  s.faults.push_back(fault);
}

Installation visible_installation(const std::vector<std::string>& faults, std::uint64_t& seed,
                                  std::uint64_t step, const std::string& system) {
  // Harmless by itself, and never above a limit.
  const bool never = std::find(faults.begin(), faults.end(), "camera-free-running") != faults.end();
  for (;; seed += step) {
    Dice dice(seed);
    Installation site = sound_installation(dice);
    if (!system.empty() && site.system != system) continue;
    for (const std::string& f : faults) put_fault(site, f, dice);
    if (site.visible || never) return site;
  }
}

const std::vector<std::string>& fault_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> n;
    for (const auto& [name, maker] : makers()) n.push_back(name);
    return n;
  }();
  return names;
}

}  // namespace linebench::faultsim
