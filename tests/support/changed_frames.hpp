// Frames of a scene, each changed before it is handed out.
#pragma once

#include "frame_synth.hpp"

namespace frame_synth {

class Changed final : public linebench::capture::FrameSource {
 public:
  using Change = std::function<void(Frame&, int number)>;
  Changed(const Scene& scene, int frames, Change change)
      : from_(scene, frames, 5), format_(scene.format()), change_(std::move(change)) {}
  [[nodiscard]] const linebench::CaptureFacts& facts() const override { return from_.facts(); }
  [[nodiscard]] const FrameFormat& format() const override { return format_; }
  [[nodiscard]] FrameFormat& format() { return format_; }
  bool read(Frame& f) override {
    if (!from_.read(f)) return false;
    change_(f, number_++);
    return true;
  }

 private:
  Source from_;
  FrameFormat format_;
  Change change_;
  int number_ = 0;
};

}  // namespace frame_synth
