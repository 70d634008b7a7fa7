#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/capture/calibration.hpp>
#include <numbers>

namespace linebench::capture {

std::string Calibration::name() const {
  const std::string& newest = std::max({loop_at, noise_at, clock_at, volts_at});
  return fmt::format("{} at {} Hz, {}", device, sample_rate_hz, newest.substr(0, 10));
}

double clock_error_ppm(double true_hz, double measured_hz) { return (true_hz / measured_hz - 1.0) * 1e6; }

double full_scale_volts(double volts_rms, double dbfs) {
  if (!(volts_rms > 0 && volts_rms < 1000)) {
    throw bad_usage(
        fmt::format("meter reading {} V: give the volts (rms) the meter showed, above 0", volts_rms));
  }
  if (!(dbfs >= -90 && dbfs <= 0)) {
    throw bad_usage(
        fmt::format("tone level {} dBFS: full scale in volts needs a tone of -90 to 0 dBFS", dbfs));
  }
  return volts_rms * std::numbers::sqrt2 / amplitude_from_db(dbfs);
}

void apply_calibration(CaptureFacts& facts, const Calibration& calibration) {
  facts.calibration = calibration.name();
  facts.full_scale_v = calibration.full_scale_v;
  facts.clock_error_ppm = calibration.clock_error_ppm;
  facts.clock_uncertainty_ppm = calibration.clock_uncertainty_ppm;
}

}  // namespace linebench::capture
