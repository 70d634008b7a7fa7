// Speech transmission index of a received STIPA signal.
#pragma once

#include <array>
#include <linebench/base/reading.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace linebench::measure {

struct StiResult {
  std::optional<double> sti;                          ///< 0..1
  double uncertainty = 0;                             ///< k=2
  std::array<std::array<double, 2>, 7> modulation{};  ///< received over sent depth, per octave and component
  double used_s = 0;                                  ///< length of the stretch it comes from
  std::string reason;                                 ///< why there is none; or a remark
};

/// STI by STIPA [IEC 60268-16 ed.5], male spectrum, of one channel; without masking and reception threshold,
/// which need the sound pressure level. Needs 15 s for standard practice, 8 s at least. The first 120 s of
/// the signal count. A cheap look at the modulation of three octaves decides whether the signal is STIPA;
/// only then the octave filters run, so that other captures do not pay.
class StiAnalyser {
 public:
  /// @param rate_hz 16000 or more (the 8 kHz octave needs 24 000 Hz or more, else there is no STI).
  /// @param known_stipa the STIPA signal was sent, so no look is taken whether it is there.
  explicit StiAnalyser(double rate_hz, bool known_stipa = false);
  ~StiAnalyser();
  StiAnalyser(StiAnalyser&&) noexcept;
  StiAnalyser& operator=(StiAnalyser&&) noexcept;

  void push(std::span<const float> samples);
  [[nodiscard]] StiResult finish();

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// audio.sti with the channel's suffix.
[[nodiscard]] Readings to_readings(const StiResult& result, std::string_view suffix);

}  // namespace linebench::measure
