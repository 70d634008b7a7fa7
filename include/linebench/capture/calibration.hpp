// What is known about a sound card: its own response, delay and noise, its clock, and how many volts full
// scale is.
//
// A response measured through a calibrated card has the card taken out by magnitude and delay:
//   gain of the path, dB  = measured gain - card's gain at that frequency
//   delay of the path, s  = measured delay - card's delay
// That is enough: the card's converters are close to linear phase over the band, and magnitude and delay are
// all that is reported. It holds while the card's level controls stay where they were.
#pragma once

#include <filesystem>
#include <linebench/base/facts.hpp>
#include <linebench/base/reading.hpp>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::capture {

/// The card's output looped straight back into one of its inputs.
struct CardLoop {
  Curve gain;          ///< returned over sent, dB over Hz, absolute
  double delay_s = 0;  ///< from output to input
};

/// One card at one sample rate. Parts that were not measured are empty; each carries its day.
struct Calibration {
  std::string device;         ///< the input's identity (SoundDevice::identity)
  double sample_rate_hz = 0;  ///< it holds at this rate only: filters and often clocks differ between rates

  std::vector<CardLoop> loop;  ///< one for each input channel
  std::string loop_output;     ///< identity of the output it was looped from
  std::string loop_at;         ///< when, ISO 8601 UTC

  std::vector<double> noise_dbfs;  ///< unweighted, 20 Hz to 20 kHz, one for each input channel
  std::string noise_at;

  std::optional<double> clock_error_ppm;  ///< +: the card's clock is fast
  std::optional<double> clock_uncertainty_ppm;
  std::string clock_at;

  std::optional<double> full_scale_v;         ///< input: volts (peak) of sample value 1.0
  std::optional<double> output_full_scale_v;  ///< output: the same
  std::string volts_at;

  std::vector<std::string> notes;

  /// "JACK: loopback at 48000 Hz, 2026-11-25": device, rate, day of the newest part.
  [[nodiscard]] std::string name() const;
};

/// Clock error in ppm of a recorder that shows a true frequency as `measured_hz`. A fast clock takes more
/// samples in a second, so everything looks slow: (true / measured - 1) 1e6.
[[nodiscard]] double clock_error_ppm(double true_hz, double measured_hz);

/// Volts (peak) that a sample value of 1.0 stands for, when a sine of that level (dBFS, AES17) reads
/// `volts_rms`: sqrt 2 volts_rms 10^(-dbfs / 20). Throws Error(Usage) unless the volts are positive and the
/// level is -90 to 0 dBFS.
[[nodiscard]] double full_scale_volts(double volts_rms, double dbfs);

/// Names the calibration in a capture's facts, and gives them full scale and clock error where it knows them.
void apply_calibration(CaptureFacts& facts, const Calibration& calibration);

/// Stores it under store_dir()/calibrations, whole or not at all, replacing the one of this device and rate.
/// @return the file. Throws Error(Unusable) where it cannot be stored.
std::filesystem::path store_calibration(const Calibration& calibration);

/// The one of this device at this rate; nothing when there is none.
/// Throws Error(Unusable) when its file is damaged or of a newer version (file named).
[[nodiscard]] std::optional<Calibration> find_calibration(const std::string& device, double sample_rate_hz);

/// As it stands on disk and in the program's JSON.
[[nodiscard]] nlohmann::json calibration_to_json(const Calibration& calibration);

struct CalibrationList {
  std::vector<Calibration> calibrations;  ///< by device, then rate
  std::vector<std::string> problems;      ///< one line for each file that cannot be used
};
[[nodiscard]] CalibrationList list_calibrations();  ///< all that are stored

/// Forgets those of this device, at one rate or (0) at all. @return how many there were.
int remove_calibrations(const std::string& device, double sample_rate_hz);

}  // namespace linebench::capture
