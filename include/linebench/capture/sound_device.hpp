// Sound devices: what there is, which one a person means, and the thin layer every backend puts under a
// session.
#pragma once

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::capture {

enum class Direction { Input, Output };

struct SoundDevice {
  std::string host_api;        ///< "ALSA", "JACK", "OSS"
  std::string name;            ///< as the host API gives it
  int inputs = 0;              ///< most channels it takes in
  int outputs = 0;             ///< most channels it sends
  double default_rate_hz = 0;  ///< the rate it runs at by itself

  /// "ALSA: USB Audio (hw:1,0)". This, and never a running number, is how a device is kept and found again.
  [[nodiscard]] std::string identity() const { return host_api + ": " + name; }
  [[nodiscard]] int channels(Direction d) const { return d == Direction::Input ? inputs : outputs; }
  /// Its samples reach us as the converter made them. Otherwise a system mixer with its own volume and rate
  /// conversion may lie between.
  [[nodiscard]] bool direct() const;
};

/// The device a person means: its whole identity, or its name, or any part of the identity that fits one
/// device of that direction only; upper or lower case alike. Throws Error(Unusable) when there are no
/// devices, none fits, or the one that fits cannot do that direction; Error(Usage) for an empty or ambiguous
/// text, listing what fits.
[[nodiscard]] const SoundDevice& choose_device(std::span<const SoundDevice> devices, std::string_view text,
                                               Direction direction);

/// What the driver says about a buffer.
struct BufferFlags {
  bool input_lost = false;   ///< input over- or underflow: samples are missing before or in this buffer
  bool output_lost = false;  ///< output over- or underflow: a gap was sent
};

/// Called by a stream on the driver's own thread: no locks, no allocation, no exceptions.
class StreamClient {
 public:
  StreamClient() = default;
  StreamClient(const StreamClient&) = delete;
  StreamClient& operator=(const StreamClient&) = delete;
  virtual ~StreamClient() = default;
  /// @param in interleaved samples, nullptr on a stream without input.
  /// @param out to be filled, nullptr on a stream without output.
  virtual void on_audio(const float* in, float* out, std::size_t frames, BufferFlags flags) noexcept = 0;
};

/// What a stream is to be. At least one device.
struct StreamPlan {
  std::optional<SoundDevice> from{};
  int inputs = 0;
  std::optional<SoundDevice> to{};
  int outputs = 0;
  double rate_hz = 0;
};

/// An open stream. Closes when destroyed.
class SoundStream {
 public:
  SoundStream() = default;
  SoundStream(const SoundStream&) = delete;
  SoundStream& operator=(const SoundStream&) = delete;
  virtual ~SoundStream() = default;
  /// The rate the device really runs at, as the driver says.
  [[nodiscard]] virtual double rate_hz() const = 0;
  /// From a sample given to it until it is heard, in s, as the driver says; 0 without output.
  [[nodiscard]] virtual double output_latency_s() const = 0;
  /// Throws Error(Unusable).
  virtual void start() = 0;
  /// Plays out what is under way, then stops. After it no callback comes any more.
  virtual void stop() noexcept = 0;
  /// False once the driver gave the stream up (device pulled, sound server gone).
  [[nodiscard]] virtual bool alive() const noexcept = 0;
  /// Tells the stream that its device is gone, so that closing it must not wait for it.
  virtual void abandon() noexcept = 0;
};

/// A way to reach sound devices: PortAudio, or a stand-in for tests.
class SoundSystem {
 public:
  SoundSystem() = default;
  SoundSystem(const SoundSystem&) = delete;
  SoundSystem& operator=(const SoundSystem&) = delete;
  virtual ~SoundSystem() = default;
  [[nodiscard]] virtual std::vector<SoundDevice> devices() = 0;
  /// Those of the usual rates the device takes with that many channels, ascending. May take a while: asks the
  /// driver.
  [[nodiscard]] virtual std::vector<double> rates(const SoundDevice& device, Direction direction,
                                                  int channels) = 0;
  /// Throws Error(Unusable) with the driver's reason; for a rate it refuses, with the rates it takes.
  [[nodiscard]] virtual std::unique_ptr<SoundStream> open(const StreamPlan& plan,
                                                          std::shared_ptr<StreamClient> client) = 0;
};

/// The system's sound through PortAudio, the chatter of its layers silenced. Starts no sound server.
/// Throws Error(Unusable) when the sound system cannot be reached.
[[nodiscard]] std::unique_ptr<SoundSystem> open_sound_system();

/// Said wherever there is no device at all.
inline constexpr std::string_view no_sound_device =
    "no sound device found; plug in a sound card (or start the sound server) and see `linebench devices`";

/// The rates tried by rates().
inline constexpr double usual_rates_hz[] = {8000, 16000, 32000, 44100, 48000, 88200, 96000, 176400, 192000};

}  // namespace linebench::capture
