// Frames held in memory, as a source.
#pragma once

#include <linebench/capture/frame_source.hpp>

namespace linebench::capture {

/// Hands on frames that stay where they are; they must outlive it. Never throws.
class LentFrames final : public FrameSource {
 public:
  LentFrames(std::span<const Frame> frames, const FrameFormat& format) : frames_(frames), format_(format) {
    facts_.source = "live";
    facts_.kind = "frames";
    facts_.sample_rate_hz = format.frame_rate_hz;
    facts_.frames = frames.size();
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const FrameFormat& format() const override { return format_; }
  bool read(Frame& frame) override {
    if (at_ >= frames_.size()) return false;
    frame = frames_[at_++];
    return true;
  }

 private:
  std::span<const Frame> frames_;
  FrameFormat format_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
};

}  // namespace linebench::capture
