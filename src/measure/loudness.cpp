#include <ebur128.h>
#include <fmt/format.h>

#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/measure/loudness.hpp>
#include <linebench/measure/true_peak.hpp>
#include <new>
#include <numbers>
#include <stdexcept>

#include "calibrated.hpp"

namespace linebench::measure {
namespace {

constexpr double gate_lufs = -70.0;              // absolute gate [BS.1770-4]
constexpr double shortest_integrated_s = 0.4;    // one gating block [BS.1770-4]
constexpr double shortest_range_s = 10.0;        // a handful of independent 3 s windows
constexpr double integrated_tolerance_lu = 0.1;  // what a meter must keep [EBU Tech 3341], taken as k=2
constexpr double range_tolerance_lu = 1.0;       // [EBU Tech 3342]
constexpr double least_peak_uncertainty_db = 0.02;

struct FreeState {
  void operator()(ebur128_state* s) const noexcept { ebur128_destroy(&s); }
};
using State = std::unique_ptr<ebur128_state, FreeState>;

State make_state(unsigned channels, double rate_hz, int mode) {
  State s(ebur128_init(channels, static_cast<unsigned long>(std::lround(rate_hz)), mode));
  if (!s) throw std::bad_alloc();
  return s;
}

void add(ebur128_state* s, std::span<const float> interleaved, std::size_t channels) {
  if (interleaved.empty()) return;
  if (ebur128_add_frames_float(s, interleaved.data(), interleaved.size() / channels) != EBUR128_SUCCESS) {
    throw std::bad_alloc();
  }
}

// The library's true peak of the screen's block, its filter memory filled by the samples before the block.
double library_peak(const TruePeakScreen& screen, double rate_hz) {
  const State s = make_state(1, rate_hz, EBUR128_MODE_TRUE_PEAK);
  const std::span<const float> stretch = screen.stretch();
  add(s.get(), stretch.first(TruePeakScreen::before), 1);
  add(s.get(), stretch.subspan(TruePeakScreen::before, screen.stretch_block()), 1);
  double peak = 0;
  if (ebur128_prev_true_peak(s.get(), 0, &peak) != EBUR128_SUCCESS) peak = screen.peak();
  return std::max(peak, screen.sample_peak());
}

}  // namespace

struct LoudnessAnalyser::Impl {
  double rate_hz;
  std::size_t channels;
  State state;
  std::vector<TruePeakScreen> screens;
  std::uint64_t frames = 0;

  Impl(double rate, int n)
      : rate_hz(rate),
        channels(static_cast<std::size_t>(n)),
        state(make_state(static_cast<unsigned>(n), rate, EBUR128_MODE_I | EBUR128_MODE_LRA)),
        screens(channels, TruePeakScreen(rate)) {}
};

LoudnessAnalyser::LoudnessAnalyser(double rate_hz, int channels) {
  if (channels < 1 || channels > 64 || !(rate_hz >= 1000 && rate_hz <= 2822400)) {
    throw std::invalid_argument("LoudnessAnalyser: 1 to 64 channels, 1 kHz to 2.8 MHz");
  }
  impl_ = std::make_unique<Impl>(rate_hz, channels);
}
LoudnessAnalyser::~LoudnessAnalyser() = default;
LoudnessAnalyser::LoudnessAnalyser(LoudnessAnalyser&&) noexcept = default;
LoudnessAnalyser& LoudnessAnalyser::operator=(LoudnessAnalyser&&) noexcept = default;

void LoudnessAnalyser::push(std::span<const float> interleaved) {
  if (interleaved.empty()) return;
  add(impl_->state.get(), interleaved, impl_->channels);
  for (std::size_t c = 0; c < impl_->channels; ++c) {
    impl_->screens[c].push(interleaved.subspan(c), impl_->channels);
  }
  impl_->frames += interleaved.size() / impl_->channels;
}

LoudnessResult LoudnessAnalyser::finish() {
  Impl& m = *impl_;
  LoudnessResult r;
  r.channels = static_cast<int>(m.channels);
  r.rate_hz = m.rate_hz;
  r.duration_s = static_cast<double>(m.frames) / m.rate_hz;
  double value = 0;
  if (ebur128_loudness_global(m.state.get(), &value) == EBUR128_SUCCESS && std::isfinite(value)) {
    r.integrated_lufs = value;
    if (r.duration_s >= shortest_range_s &&
        ebur128_loudness_range(m.state.get(), &value) == EBUR128_SUCCESS) {
      r.range_lu = value;
    }
  }
  for (TruePeakScreen& screen : m.screens) {
    screen.finish();
    const double peak = screen.peak() > 0 ? library_peak(screen, m.rate_hz) : 0;
    r.true_peak.push_back(peak);
    // Finer interpolation of the same stretch shows what the standard's oversampling missed of this very
    // signal.
    const double missed = peak > 0 ? std::abs(db_from_amplitude(fine_peak(screen.stretch()) / peak)) : 0;
    r.true_peak_uncertainty_db.push_back(std::max(least_peak_uncertainty_db, missed));
  }
  return r;
}

namespace {

// A sine of 997 Hz at 0 dBFS in one channel is -3.01 LUFS [BS.1770-4].
constexpr double one_channel_db = 3.01;

void add_programme(Readings& out, const LoudnessResult& r, std::optional<double> full_scale_v, int carrying) {
  const char* level = "audio.programme.level";
  const char* voltage = "audio.programme.voltage";
  const Reading& loudness = out.front();
  if (!loudness.measured() || carrying < 1 || r.channels > 2) {
    const std::string why =
        r.channels > 2 ? "more than two channels: which of them carry it is not known" : loudness.reason;
    for (const char* id : {level, voltage}) out.push_back(unmeasurable(id, why));
    return;
  }
  const double dbfs = loudness.number() + one_channel_db - db_from_power(carrying);
  out.push_back(number_reading(level, dbfs, integrated_tolerance_lu));
  if (full_scale_v) {
    out.push_back(number_reading(
        voltage, dbfs + db_from_amplitude(*full_scale_v / std::numbers::sqrt2 / dbu_reference_v),
        integrated_tolerance_lu, as_calibrated));
  } else {
    out.push_back(unmeasurable(voltage, uncalibrated));
  }
}

}  // namespace

Readings to_readings(const LoudnessResult& r, std::optional<double> full_scale_v, int carrying) {
  Readings out;
  const std::string silent =
      fmt::format("nothing above the gate of {:.0f} LUFS; send programme or raise the level", gate_lufs);
  if (r.integrated_lufs) {
    out.push_back(
        number_reading("audio.loudness.integrated", *r.integrated_lufs, integrated_tolerance_lu,
                       r.channels == 1 ? "one channel; on two loudspeakers it counts 3 LU more" : ""));
  } else if (r.duration_s < shortest_integrated_s) {
    out.push_back(unmeasurable("audio.loudness.integrated",
                               fmt::format("capture is {:.2f} s; the loudness gate needs {:.1f} s",
                                           r.duration_s, shortest_integrated_s)));
  } else {
    out.push_back(unmeasurable("audio.loudness.integrated", silent, gate_lufs));
  }
  add_programme(out, r, full_scale_v, carrying);
  if (r.range_lu) {
    out.push_back(
        number_reading("audio.loudness.range", *r.range_lu, range_tolerance_lu,
                       r.duration_s < 60 ? "meant for a whole programme; this is under a minute" : ""));
  } else if (r.duration_s < shortest_range_s) {
    out.push_back(
        unmeasurable("audio.loudness.range",
                     fmt::format("capture is {:.1f} s; the loudness range needs {:.0f} s, better a minute",
                                 r.duration_s, shortest_range_s)));
  } else {
    out.push_back(unmeasurable("audio.loudness.range", silent));
  }
  for (int c = 0; c < r.channels; ++c) {
    const std::string id = "audio.true_peak" + channel_suffix(c, r.channels);
    const std::string voltage = "audio.true_peak.voltage" + channel_suffix(c, r.channels);
    const double peak = r.true_peak[static_cast<std::size_t>(c)];
    if (peak > 0) {
      out.push_back(number_reading(id, db_from_amplitude(peak),
                                   r.true_peak_uncertainty_db[static_cast<std::size_t>(c)]));
      out.push_back(full_scale_v
                        ? number_reading(
                              voltage,
                              db_from_amplitude(peak * *full_scale_v / std::numbers::sqrt2 / dbu_reference_v),
                              r.true_peak_uncertainty_db[static_cast<std::size_t>(c)], as_calibrated)
                        : unmeasurable(voltage, uncalibrated));
    } else {
      for (const std::string& x : {id, voltage})
        out.push_back(
            unmeasurable(x, "the channel holds nothing but zeros; check that its cable and input are on"));
    }
  }
  return out;
}

}  // namespace linebench::measure
