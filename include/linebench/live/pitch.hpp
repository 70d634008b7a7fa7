// A pitch that follows a reading, for whoever stands on a ladder and cannot look at a screen. It comes out of
// a loudspeaker or headset of the technician's own, never out of the path that is being measured.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/capture/sound_device.hpp>
#include <memory>
#include <optional>
#include <string>

namespace linebench::live {

/// Level it is played at, rms: soft in a headset.
inline constexpr double pitch_dbfs = -30;

/// 220 to 1760 Hz, higher is more: -100 to 0 dBFS, 0 to 80 dB, 0 to 10 %. Nothing for a reading that was not
/// measured or has another unit.
[[nodiscard]] std::optional<double> pitch_hz(const Reading& reading);

/// Why the pitch must not come out of this device; empty when it may. The device of the path's own input, the
/// same card, and any output where that cannot be told (the system's mixer may lead to the same card), unless
/// the person has `checked` it. @param in what is being watched; nothing for a file.
[[nodiscard]] std::string pitch_refusal(const capture::SoundDevice& out,
                                        const std::optional<capture::SoundDevice>& in, bool checked);

/// A sine out of a sound device from now until destroyed; it glides, and fades where there is nothing to
/// follow.
class Pitch {
 public:
  /// Throws Error(Unusable) as SoundSystem::open().
  Pitch(capture::SoundSystem& system, const capture::SoundDevice& out);
  ~Pitch();
  Pitch(const Pitch&) = delete;
  Pitch& operator=(const Pitch&) = delete;
  void follow(const std::optional<double>& hz);
  /// False once the device is gone.
  [[nodiscard]] bool alive() const;

 private:
  class Client;
  std::shared_ptr<Client> client_;
  std::unique_ptr<capture::SoundStream> stream_;
};

}  // namespace linebench::live
