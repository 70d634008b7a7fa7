// Sending and taking in through sound devices: one session from opening to what is kept.
#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <linebench/base/audio_source.hpp>
#include <linebench/base/facts.hpp>
#include <linebench/base/progress.hpp>
#include <linebench/capture/sound_device.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace linebench::capture {

class AudioFileWriter;

/// Where taken samples go.
class SampleSink {
 public:
  SampleSink() = default;
  SampleSink(const SampleSink&) = delete;
  SampleSink& operator=(const SampleSink&) = delete;
  virtual ~SampleSink() = default;
  /// Whole frames, interleaved. Throws Error(Unusable) when they cannot be kept.
  virtual void write(std::span<const float> interleaved) = 0;
};

/// Into an audio file.
class FileSink final : public SampleSink {
 public:
  explicit FileSink(AudioFileWriter& writer) : writer_(writer) {}
  void write(std::span<const float> interleaved) override;

 private:
  AudioFileWriter& writer_;
};

/// Time, so that a test can make it pass as it likes.
class SessionClock {
 public:
  SessionClock() = default;
  SessionClock(const SessionClock&) = delete;
  SessionClock& operator=(const SessionClock&) = delete;
  virtual ~SessionClock() = default;
  [[nodiscard]] virtual std::chrono::nanoseconds now() const = 0;
  virtual void sleep(std::chrono::milliseconds span) = 0;
};
/// The machine's steady clock.
[[nodiscard]] SessionClock& steady_session_clock();

/// What a session uses. At least one device.
struct SessionPlan {
  std::optional<SoundDevice> from{};
  int inputs = 0;  ///< channels; 0: two, or what it has if less
  std::optional<SoundDevice> to{};
  int outputs = 0;     ///< channels; 0: two, or what it has if less
  double rate_hz = 0;  ///< 0: the rate the device runs at by itself (the input's, when there are two)
};

struct ChannelLevel {
  float peak = 0;  ///< largest absolute sample since the last look
  double rms = 0;  ///< since the last look; full-scale sine = 0.707
};

/// Where a session stands, for a progress bar and a meter.
struct SessionStatus {
  double done_s = 0;
  double total_s = 0;  ///< 0: unknown
  std::vector<ChannelLevel> levels;
  std::uint64_t xruns = 0;
  std::uint64_t dropped = 0;
};
using SessionWatch = std::function<void(const SessionStatus&)>;

/// One run of a session.
struct RunPlan {
  AudioSource* send = nullptr;  ///< what to send; mono goes to every output. Its rate must be the session's.
  SampleSink* take = nullptr;   ///< where to put what comes in
  /// How long to take in (or, when only sending, to send at most). 0: as long as the signal, plus the tail.
  double seconds = 0;
  double tail_s = 0.5;   ///< taken in after the signal's end: the path's delay
  bool kept = true;      ///< the person keeps what was taken when it ends early: said in the outcome's line
  SessionWatch watch{};  ///< called about ten times a second; may be empty
  const StopFlag* stop = nullptr;
};

enum class End {
  Complete,       ///< as planned
  Stopped,        ///< the stop flag was set
  DeviceLost,     ///< pulled, or its sound server ended
  StorageFailed,  ///< disk full or gone
};

struct Outcome {
  End end = End::Complete;
  std::string line;    ///< for a person, what, where, what to do; empty when complete
  CaptureFacts facts;  ///< xruns, dropped, interrupted, notes, taken_at, device, rate, channels, frames
  std::vector<ChannelLevel> levels;  ///< of everything that was taken in, by channel
  std::uint64_t sent = 0;            ///< frames sent
  bool aligned = false;  ///< sample 0 taken in belongs to the buffer in which sample 0 was sent (one stream)
};

/// Opens the devices: as one full-duplex stream when both belong to one host API and the driver agrees, else
/// as two. Memory is constant whatever the length. Throws Error(Unusable) as SoundSystem::open, and for more
/// channels than the device has.
class Session {
 public:
  /// @param silence_is_loss no callback for this long means the device is gone.
  Session(SoundSystem& system, const SessionPlan& plan, SessionClock& clock = steady_session_clock(),
          std::chrono::milliseconds silence_is_loss = std::chrono::seconds(2));
  ~Session();
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  [[nodiscard]] double rate_hz() const noexcept { return rate_hz_; }
  [[nodiscard]] int inputs() const noexcept { return plan_.inputs; }
  [[nodiscard]] int outputs() const noexcept { return plan_.outputs; }
  /// One stream for both directions.
  [[nodiscard]] bool full_duplex() const noexcept;

  /// Sends and takes in. Once per session. Every end but a broken source is an outcome, not an exception:
  /// what was taken is in the sink. A stop fades the output out over 50 ms so that no loudspeaker clicks.
  /// Throws Error(Unusable) when the device does not start or the source breaks (the sink keeps what was
  /// taken), Error(Usage) when the source's rate or channels do not fit.
  [[nodiscard]] Outcome run(const RunPlan& plan);

 private:
  class Client;
  class Loop;
  SoundSystem& system_;
  SessionPlan plan_;
  SessionClock& clock_;
  std::chrono::milliseconds silence_is_loss_;
  double rate_hz_ = 0;
  std::shared_ptr<Client> client_;
  std::vector<std::unique_ptr<SoundStream>> streams_;  ///< one, or input then output
};

}  // namespace linebench::capture
