// A sound system in memory with a clock of its own: when the session sleeps, time passes and the "driver"
// calls back.
#pragma once

#include <algorithm>
#include <functional>
#include <linebench/base/error.hpp>
#include <linebench/capture/session.hpp>
#include <memory>
#include <utility>
#include <vector>

namespace fake {

using namespace linebench::capture;

/// What a device does with each buffer. `in` is to be filled, `out` is what was sent; both may be empty.
struct Behaviour {
  double rate_hz = 48000;
  std::vector<double> rates{44100, 48000, 96000};
  std::size_t period = 480;
  std::function<void(std::uint64_t at, std::size_t frames, std::vector<float>& in,
                     const std::vector<float>& out)>
      path;
  std::function<BufferFlags(std::uint64_t at)> flags;
  std::uint64_t dies_at = ~0ULL;  ///< frame from which no callback comes
  bool admits_death = false;      ///< and the driver says so
  bool refuses_duplex = false;
  double latency_s = 0;  ///< of the output
  std::vector<SoundDevice> devices{{"ALSA", "Counter card (hw:1,0)", 2, 2, 48000},
                                   {"ALSA", "Lane card (hw:2,0)", 1, 0, 48000},
                                   {"OSS", "Old card", 2, 2, 48000}};
};

class System;

class Stream final : public SoundStream {
 public:
  Stream(System& system, StreamPlan plan, std::shared_ptr<StreamClient> client)
      : system_(system), plan_(std::move(plan)), client_(std::move(client)) {}
  ~Stream() override;
  [[nodiscard]] double rate_hz() const override;
  [[nodiscard]] double output_latency_s() const override;
  void start() override { running_ = true; }
  void stop() noexcept override { running_ = false; }
  [[nodiscard]] bool alive() const noexcept override;
  void abandon() noexcept override { abandoned_ = true; }
  void pass(double seconds);

 private:
  System& system_;
  StreamPlan plan_;
  std::shared_ptr<StreamClient> client_;
  bool running_ = false;
  bool abandoned_ = false;
  double due_ = 0;
  std::uint64_t at_ = 0;
};

class System final : public SoundSystem, public SessionClock {
 public:
  explicit System(Behaviour b) : behaviour(std::move(b)) {}

  [[nodiscard]] std::vector<SoundDevice> devices() override { return behaviour.devices; }
  [[nodiscard]] std::vector<double> rates(const SoundDevice&, Direction, int) override {
    return behaviour.rates;
  }
  [[nodiscard]] std::unique_ptr<SoundStream> open(const StreamPlan& plan,
                                                  std::shared_ptr<StreamClient> client) override {
    if (std::find(behaviour.rates.begin(), behaviour.rates.end(), plan.rate_hz) == behaviour.rates.end()) {
      throw linebench::unusable("rate refused; choose another");
    }
    if (plan.from && plan.to && behaviour.refuses_duplex)
      throw linebench::unusable("not both at once; use one");
    ++opened;
    auto stream = std::make_unique<Stream>(*this, plan, std::move(client));
    streams.push_back(stream.get());
    return stream;
  }

  [[nodiscard]] std::chrono::nanoseconds now() const override { return now_; }
  void sleep(std::chrono::milliseconds span) override {
    now_ += span;
    if (on_sleep) on_sleep();
    for (Stream* s : streams) s->pass(std::chrono::duration<double>(span).count());
  }

  Behaviour behaviour;
  std::vector<Stream*> streams;
  std::function<void()> on_sleep;
  int opened = 0;
  int abandoned = 0;

 private:
  std::chrono::nanoseconds now_{};
};

inline Stream::~Stream() {
  std::erase(system_.streams, this);
  if (abandoned_) ++system_.abandoned;
}
inline double Stream::rate_hz() const { return plan_.rate_hz; }
inline double Stream::output_latency_s() const { return plan_.to ? system_.behaviour.latency_s : 0; }
inline bool Stream::alive() const noexcept {
  return !(system_.behaviour.admits_death && at_ >= system_.behaviour.dies_at);
}
inline void Stream::pass(double seconds) {
  const Behaviour& b = system_.behaviour;
  due_ += seconds * plan_.rate_hz;
  for (; due_ >= static_cast<double>(b.period); due_ -= static_cast<double>(b.period)) {
    if (!running_ || at_ >= b.dies_at) continue;
    std::vector<float> in(plan_.from ? b.period * static_cast<std::size_t>(plan_.inputs) : 0);
    std::vector<float> out(plan_.to ? b.period * static_cast<std::size_t>(plan_.outputs) : 0, 99.0F);
    if (b.path && !in.empty()) b.path(at_, b.period, in, {});
    client_->on_audio(in.empty() ? nullptr : in.data(), out.empty() ? nullptr : out.data(), b.period,
                      b.flags ? b.flags(at_) : BufferFlags{});
    if (b.path && !out.empty()) {
      std::vector<float> none;
      b.path(at_, b.period, none, out);
    }
    at_ += b.period;
  }
}

/// A sink in memory that may be made to fail after so many frames.
class MemorySink final : public SampleSink {
 public:
  void write(std::span<const float> x) override {
    if (samples.size() + x.size() > limit)
      throw linebench::unusable("memory.wav: the disk is full; free some space");
    samples.insert(samples.end(), x.begin(), x.end());
  }
  std::vector<float> samples;
  std::size_t limit = ~std::size_t{0};
};

}  // namespace fake
