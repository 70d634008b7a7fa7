// Least standard deviations of unbiased estimators [Cramer-Rao; Kay, Fundamentals of Statistical Signal
// Processing I: sine example 3.14, variance of white noise example 3.6]. Levels in dBFS per AES17, noise
// white over half the rate.
#pragma once

#include <cmath>
#include <linebench/base/decibel.hpp>
#include <numbers>

namespace accuracy::bounds {

inline constexpr double db_of_relative = 8.685889638065036;  ///< 20 / ln 10

/// Of the frequency of a sine, Hz; n samples.
inline double sine_hz(double dbfs, double noise_dbfs, double n, double rate) {
  const double ratio = 0.5 * std::pow(10, (noise_dbfs - dbfs) / 10);  // s^2 / A^2
  return std::sqrt(24 * ratio / (n * (n * n - 1))) * rate / (2 * std::numbers::pi);
}
/// Of its level, dB.
inline double sine_db(double dbfs, double noise_dbfs, double n) {
  return db_of_relative * std::sqrt(std::pow(10, (noise_dbfs - dbfs) / 10) / n);
}
/// Of the mean, fraction of full scale.
inline double mean(double noise_dbfs, double n) { return std::sqrt(0.5 * std::pow(10, noise_dbfs / 10) / n); }
/// Of a noise level, dB, from n independent samples (2 x bandwidth x time).
inline double noise_db(double n) { return db_of_relative / std::sqrt(2 * n); }

}  // namespace accuracy::bounds
