// Ratios, decibels and the audio trade's reference levels.
#pragma once

#include <cmath>
#include <limits>
#include <numbers>

namespace linebench {

/// 20 lg(ratio) of amplitudes; -inf for 0.
[[nodiscard]] inline double db_from_amplitude(double ratio) {
  return ratio > 0 ? 20.0 * std::log10(ratio) : -std::numeric_limits<double>::infinity();
}
/// 10 lg(ratio) of powers; -inf for 0.
[[nodiscard]] inline double db_from_power(double ratio) {
  return ratio > 0 ? 10.0 * std::log10(ratio) : -std::numeric_limits<double>::infinity();
}
[[nodiscard]] inline double amplitude_from_db(double db) { return std::pow(10.0, db / 20.0); }
[[nodiscard]] inline double power_from_db(double db) { return std::pow(10.0, db / 10.0); }

/// dBFS of an rms value, full-scale sine (rms 1/sqrt 2) = 0 dBFS [AES17].
[[nodiscard]] inline double dbfs_from_rms(double rms) { return db_from_amplitude(rms * std::numbers::sqrt2); }
/// dBFS of a mean square, full-scale sine = 0 dBFS [AES17].
[[nodiscard]] inline double dbfs_from_power(double mean_square) { return db_from_power(2.0 * mean_square); }
[[nodiscard]] inline double rms_from_dbfs(double dbfs) {
  return amplitude_from_db(dbfs) / std::numbers::sqrt2;
}

/// 0 dBu: the voltage that gives 1 mW in 600 ohm, sqrt(0.6) V.
inline const double dbu_reference_v = std::sqrt(0.6);
/// 0 dBV.
inline constexpr double dbv_reference_v = 1.0;

}  // namespace linebench
