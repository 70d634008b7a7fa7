#include "calibrate_steps.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <cmath>
#include <ctime>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/measure/audio.hpp>

namespace linebench::app {
namespace {

struct Measured {
  Readings readings;
  int channels = 0;
};

/// As it stands in the file: with no earlier calibration taken into account.
Measured measure_raw(const std::filesystem::path& recording) {
  const auto source = capture::open_audio_file(recording);
  return {measure::measure_audio(*source, {}), source->facts().channels};
}

}  // namespace

std::string iso_now() { return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::time(nullptr))); }

ToneFound find_tone(const Recording& recording) {
  const Measured m = measure_raw(recording.path);
  ToneFound best{.dbfs = -1000};
  std::string reason = "its level is too low or it does not stand still";
  for (int c = 0; c < m.channels; ++c) {
    const std::string suffix = channel_suffix(c, m.channels);
    const Reading* hz = find_reading(m.readings, "audio.tone.frequency" + suffix);
    const Reading* level = find_reading(m.readings, "audio.tone.level" + suffix);
    if (hz == nullptr || level == nullptr) continue;
    if (!hz->measured() || !level->measured()) {
      if (!hz->reason.empty()) reason = hz->reason;
      continue;
    }
    if (level->number() > best.dbfs) best = {hz->number(), hz->uncertainty.value_or(0), level->number()};
  }
  if (best.hz <= 0) {
    throw unusable(fmt::format("{}: no steady tone in it ({}); record the tone alone, 10 s or longer",
                               recording.name, reason));
  }
  return best;
}

void calibrate_clock(capture::Calibration& c, double reference_hz, double reference_ppm,
                     const Recording& recording) {
  if (!(reference_hz >= 10 && reference_hz <= 1e5)) {
    throw bad_usage(fmt::format("--reference-hz {}: give the true frequency, 10 to 100000 Hz", reference_hz));
  }
  if (!(reference_ppm >= 0 && reference_ppm <= 1000)) {
    throw bad_usage(fmt::format("--reference-ppm {}: give how well the frequency is known, 0 to 1000 ppm",
                                reference_ppm));
  }
  const ToneFound tone = find_tone(recording);
  const double ppm = capture::clock_error_ppm(reference_hz, tone.hz);
  constexpr double no_crystal_ppm = 2000;
  if (std::abs(ppm) > no_crystal_ppm) {
    throw unusable(
        fmt::format("{}: the tone in it has {:.3f} Hz, which cannot be the reference of {} Hz; record the "
                    "reference itself",
                    recording.name, tone.hz, reference_hz));
  }
  c.clock_error_ppm = ppm;
  c.clock_uncertainty_ppm = std::hypot(tone.hz_uncertainty / tone.hz * 1e6, reference_ppm);
  c.clock_at = iso_now();
}

void calibrate_noise(capture::Calibration& c, const Recording& quiet) {
  const Measured m = measure_raw(quiet.path);
  std::vector<double> noise;
  for (int channel = 0; channel < m.channels; ++channel) {
    const Reading* r =
        find_reading(m.readings, "audio.noise.unweighted" + channel_suffix(channel, m.channels));
    if (r == nullptr || !r->measured()) {
      throw unusable(fmt::format(
          "{}: noise cannot be measured in it ({}); take in 5 s with nothing plugged in and the input "
          "switched on",
          quiet.name, r != nullptr ? r->reason : "no reading"));
    }
    noise.push_back(r->number());
  }
  constexpr double loud_dbfs = -40;
  for (const double n : noise) {
    if (n > loud_dbfs) {
      throw unusable(fmt::format("{}: {:.1f} dBFS is no card's own noise; unplug the input and record again",
                                 quiet.name, n));
    }
  }
  c.noise_dbfs = noise;
  c.noise_at = iso_now();
}

}  // namespace linebench::app
