// A grabber by script: what its driver would answer, buffer by buffer.
#pragma once

#include <linebench/base/error.hpp>
#include <linebench/capture/picture_session.hpp>
#include <thread>
#include <vector>

namespace fake_grabber {

using namespace linebench::capture;

struct Step {
  WaitResult result = WaitResult::Frame;
  std::uint32_t sequence = 0;
  bool corrupt = false;
  SignalState signal = SignalState::Present;
  int lines = 625;
  std::size_t bytes = 0;  // 0: a whole frame
};

class Stream final : public GrabberStream {
 public:
  Stream(GrabberSetting setting, std::vector<Step> steps)
      : setting_(std::move(setting)), steps_(std::move(steps)) {
    buffer_.resize(setting_.bytes_per_line * static_cast<std::size_t>(setting_.format.height));
    for (std::size_t i = 0; i < buffer_.size(); ++i) buffer_[i] = static_cast<std::uint8_t>(i * 7 + i / 256);
  }
  [[nodiscard]] const GrabberSetting& setting() const override { return setting_; }
  void start() override { started = true; }
  WaitResult wait(std::chrono::milliseconds, GrabbedFrame& f) override {
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
    if (at_ >= steps_.size()) return WaitResult::Timeout;
    const Step& s = steps_[at_++];
    now_ = s;
    f.bytes = std::span(buffer_).first(s.bytes > 0 ? s.bytes : buffer_.size());
    f.sequence = s.sequence;
    f.corrupt = s.corrupt;
    return s.result;
  }
  void stop() noexcept override { stopped = true; }
  Wire wire() override { return {now_.signal, now_.lines}; }
  [[nodiscard]] const std::vector<std::uint8_t>& buffer() const { return buffer_; }

  bool started = false;
  bool stopped = false;

 private:
  GrabberSetting setting_;
  std::vector<Step> steps_;
  std::size_t at_ = 0;
  Step now_;
  std::vector<std::uint8_t> buffer_;
};

inline GrabberSetting setting(const char* fourcc = "YUYV", std::size_t padding = 0) {
  GrabberSetting s;
  s.fourcc = fourcc;
  s.format.width = 64;
  s.format.height = 64;
  s.format.lines = 625;
  s.format.top_field_first = true;
  s.bytes_per_line = 128 + padding;
  return s;
}

inline std::vector<Step> frames(std::uint32_t count, std::uint32_t first = 0) {
  std::vector<Step> steps(count);
  for (std::uint32_t i = 0; i < count; ++i) steps[i].sequence = first + i;
  return steps;
}

}  // namespace fake_grabber
