// Taking frames in from a grabber to a file: one run from the first buffer to what is kept.
#pragma once

#include <chrono>
#include <filesystem>
#include <functional>
#include <linebench/base/facts.hpp>
#include <linebench/base/progress.hpp>
#include <linebench/capture/grabber.hpp>
#include <linebench/capture/session.hpp>
#include <string>
#include <utility>
#include <vector>

namespace linebench::capture {

/// What the device says of a frame.
struct FrameMark {
  std::uint64_t lost = 0;  ///< frames lost just before it
  bool corrupt = false;    ///< the driver marked the buffer as damaged
};

/// Where frames go, packed YUYV without padding. Throws Error(Unusable) when they cannot be kept.
class FrameSink {
 public:
  FrameSink() = default;
  FrameSink(const FrameSink&) = delete;
  FrameSink& operator=(const FrameSink&) = delete;
  virtual ~FrameSink() = default;
  virtual void write(std::span<const std::uint8_t> yuyv, const FrameMark& mark) = 0;
};

struct PictureStatus {
  double done_s = 0;
  double total_s = 0;
  std::uint64_t dropped = 0;
  std::uint64_t corrupt = 0;
  SignalState signal = SignalState::Unknown;
  std::string event;  ///< something that has just happened, a sentence; empty most times
};
using PictureWatch = std::function<void(const PictureStatus&)>;

struct PictureRunPlan {
  FrameSink* take = nullptr;
  double seconds = 0;
  PictureWatch watch{};  ///< at least four times a second; may be empty
  const StopFlag* stop = nullptr;
  std::chrono::milliseconds silence_is_loss = std::chrono::seconds(2);  ///< no buffer for this long
};

struct PictureOutcome {
  End end = End::Complete;
  std::string line;    ///< for a person, what, where, what to do; empty when complete
  CaptureFacts facts;  ///< frames, dropped, interrupted, notes, taken_at, sample rate
  std::vector<std::pair<std::uint64_t, std::uint64_t>> lost;  ///< frame of the file, frames lost before it
  std::vector<std::uint64_t> corrupt;                         ///< frames of the file marked as damaged
};

/// Takes frames in. The grabber is read by a thread of its own into a queue of bounded length; what the disk
/// cannot take in time is dropped and counted. Every end is an outcome: what was taken is in the sink. A lost
/// signal, another standard on the wire and a stalled or pulled device are told within 2 s; a lost signal
/// does not end the run. Throws Error(Unusable) when the device does not start.
[[nodiscard]] PictureOutcome take_picture(GrabberStream& stream, const std::string& name,
                                          const PictureRunPlan& plan);

/// A raw `.yuv` and its sidecar, which stands beside it from the first frame on.
class YuvFileSink final : public FrameSink {
 public:
  /// Throws Error(Unusable) where the file cannot be made, Error(Usage) for a name that does not end in .yuv.
  YuvFileSink(std::filesystem::path path, const GrabberSetting& setting);
  ~YuvFileSink() override;
  void write(std::span<const std::uint8_t> yuyv, const FrameMark& mark) override;
  /// Closes the file and stores the sidecar. @return the facts as stored.
  CaptureFacts finish(const PictureOutcome& outcome);

 private:
  struct Handle;
  std::filesystem::path path_;
  GrabberSetting setting_;
  std::unique_ptr<Handle> file_;
};

}  // namespace linebench::capture
