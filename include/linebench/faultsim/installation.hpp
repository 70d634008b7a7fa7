// A simulated installation: what stands on its wires, by circuit theory, before any reading is taken. Nothing
// here knows the fault book: voltages, impedances and waveforms only.
#pragma once

#include <array>
#include <cmath>
#include <complex>
#include <cstdint>
#include <map>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace linebench::faultsim {

/// Seeded draws that are the same on every machine.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : gen_(seed * 0x9E3779B97F4A7C15ULL + 1) {}
  double uniform(double a, double b) { return a + (b - a) * static_cast<double>(gen_() >> 11) * 0x1.0p-53; }
  double log_uniform(double a, double b) { return std::exp(uniform(std::log(a), std::log(b))); }
  double normal(double mean, double sd) {
    const double u = std::max(uniform(0, 1), 1e-300);
    return mean + sd * std::sqrt(-2 * std::log(u)) * std::cos(2 * std::numbers::pi * uniform(0, 1));
  }
  /// Mean 0, variance 1: the sum of four even draws, near enough to a normal one for noise, and quick.
  double quick_normal() {
    return std::numbers::sqrt3 * 0.5 * (uniform(-1, 1) + uniform(-1, 1) + uniform(-1, 1) + uniform(-1, 1));
  }
  bool chance(double p) { return uniform(0, 1) < p; }
  int pick(int n) { return static_cast<int>(uniform(0, n)); }
  int poisson(double mean) {
    if (mean > 200) return std::max(0, static_cast<int>(std::lround(normal(mean, std::sqrt(mean)))));
    const double limit = std::exp(-mean);
    int n = 0;
    for (double p = uniform(0, 1); p > limit; p *= uniform(0, 1)) ++n;
    return n;
  }

 private:
  std::mt19937_64 gen_;
};

constexpr int harmonics = 60;
using Comb = std::array<double, harmonics + 1>;  // rms volts of each multiple; [0] unused

/// Of all multiples together, in their unit.
inline double rms(const Comb& c) {
  double sum = 0;
  for (int n = 1; n <= harmonics; ++n) sum += c[n] * c[n];
  return std::sqrt(sum);
}

inline double db(double ratio) { return 20 * std::log10(std::max(ratio, 1e-12)); }

/// One audio path into the bench. Line-up: 0 dBu (0.775 V) reads -18 dBFS, so full scale is 6.15 V rms.
constexpr double full_scale_v = 6.154;
struct AudioPath {
  Comb hum{};        // from the mains
  Comb field_hum{};  // at the video field rate
  double whistle_v = 0, phone_v = 0, noise_v = 0;
  double gain_db = 0;
  double thd_percent = 0.05;
  double clicks = 0.2, dropouts = 0, clipped = 0;  // a minute
  double steps = 0, step_db = 0;                   // a minute, between 0 dB and this
  double clip_dbfs = 0;
  double top_db = -0.3, bottom_db = -0.3;
  bool reversed = false;

  void add_hum(const Comb& c, double scale) {
    for (int n = 1; n <= harmonics; ++n) hum[n] = std::hypot(hum[n], scale * c[n]);
  }
};

/// Sync's edge lasts 0.14 to 0.2 us at the source: an echo within two or three of that is part of it.
constexpr double echo_told_from_s = 0.5e-6;
struct VideoPath {
  bool present = true, inverted = false, interlaced = true, colour = true;
  std::string system;                              // "525", "525-no-setup", "625"
  double gain_db = 0;                              // of everything
  double sync_db = 0, white_db = 0, burst_db = 0;  // on top of it
  double setup_mv = 0;                             // before gain
  double missing = 0;                              // of 1000 lines
  double jitter_ns = 3, rise_ns = 145;
  Comb hum_mv{};  // rms mV
  double noise_mv = 1.2;
  double tone_mv = 0, tone_hz = 0;
  double impulses = 0;  // a second
  bool impulses_by_mains = false;
  double echo = 0;            // amplitude ratio, sign kept
  double echo_s = 0.5e-6;     // after the direct signal
  double loss_db = 0.8;       // at 5 MHz
  double cable_burst_db = 0;  // what of burst_db a faulty cable took, not the source
  double nonlinearity = 1.2;  // %
  double tilt = 0.6;
  double lost_frames = 0;  // of 1000
  double hunting_db = 0;   // what the grabber's gain falls by for moments
  double flagging_us = 0;  // how far off the lines' time is after the field sync, + late
  // What the receiver's settings make of it, and the order of the source's colour differences.
  double hue_deg = 0, colour_db = 0, contrast_db = 0, brightness = 0;  // the last in % of white
  /// What comes back within an edge adds to sync's level and, by its delay, to the burst's or against it.
  [[nodiscard]] double near_echo_on_burst() const {
    if (echo_s > echo_told_from_s) return 1;
    const double turn =
        2 * std::numbers::pi * (system == "625" ? 4.43361875e6 : 315e6 / 88) * echo_s;  // [BT.1700]
    return std::abs(1.0 + echo * std::polar(1.0, -turn)) / std::abs(1.0 + echo);
  }
  enum class Parts { Right, Exchanged, BothReversed, OneReversed, OneOpen } parts = Parts::Right;
};

struct Installation {
  double mains_hz = 50, field_hz = 50;
  std::string system = "625";      // what the site expects
  std::array<AudioPath, 2> lines;  // two lines with the test tone
  std::array<AudioPath, 2> feed;   // left and right of the programme
  double feed_db = 0;
  bool feed_mono = false, feed_one_side = false, feed_reversed = false;
  double crosstalk_db = -70;
  bool gaps_in_all = false;  // clicks and gaps are the recorder's: in all channels at once
  VideoPath video;
  std::map<std::string, std::string> answers;  // what a person would find: trial -> as typed
  std::vector<std::string> faults;
  /// Where black belongs above blanking.
  [[nodiscard]] double expected_setup_mv() const { return system == "525" ? 53.6 : 0; }
  bool visible = true;  // above what a careful technician could see or hear
};

/// A sound installation with its own tolerances.
[[nodiscard]] Installation sound_installation(Dice& dice);

/// Puts a fault of this name in, of a random severity. Sets answers, and `visible` to false when it is too
/// slight.
void put_fault(Installation& site, const std::string& fault, Dice& dice);

/// The first installation from this seed on, `step` apart, in which these faults are above what can be seen
/// or heard, and of this television system where one is given. @param seed is left at the one taken.
[[nodiscard]] Installation visible_installation(const std::vector<std::string>& faults, std::uint64_t& seed,
                                                std::uint64_t step = 1, const std::string& system = {});

/// What a person reports of a trial, as typed after "TRIAL="; where no fault touches it, as on a sound
/// installation. @param words the trial's words; empty: a meter's value. @param errs how often a person picks
/// a word at random.
[[nodiscard]] std::string answer(const Installation& site, const std::string& trial,
                                 const std::vector<std::string>& words, double errs, Dice& dice);

/// Every fault the simulator can make.
[[nodiscard]] const std::vector<std::string>& fault_names();

// Circuits, used by the faults and tested by themselves.
/// Multiples of a full-wave rectifier's ripple: source resistance, smoothing capacitor, constant load
/// current. rms V; [0] is the dc. @param peak_v of the transformer's voltage after the diodes.
[[nodiscard]] Comb rectifier_ripple(double mains_hz, double peak_v, double source_ohm, double farad,
                                    double load_a);
/// Multiples of a phase-cut mains of 1 V rms uncut: conduction from `cut` (radians after each zero) to the
/// next zero.
[[nodiscard]] Comb phase_cut(double cut);
/// 10 to 90 % rise of a 140 ns edge behind a cable with this loss at 5 MHz (skin effect), ns.
[[nodiscard]] double rise_behind_cable(double loss_db_5mhz);
/// Third harmonic over the fundamental of a sine of amplitude `drive` through a hyperbolic tangent.
[[nodiscard]] double bent_third(double drive);
/// Gain of a pair re 1 kHz: source resistance, total series ohms and shunt farads of the pair, 10 kohm at its
/// end.
[[nodiscard]] double pair_gain_db(double source_ohm, double series_ohm, double farad, double hz);

}  // namespace linebench::faultsim
