// The part of a session that runs on the driver's thread.
#pragma once

#include <atomic>
#include <cmath>
#include <cstdint>
#include <limits>
#include <linebench/capture/sample_ring.hpp>
#include <linebench/capture/session.hpp>
#include <numbers>

namespace linebench::capture {

/// Moves samples between the driver's buffers and the rings, counts, fades. The owner sets targets before the
/// stream starts; counters may be read at any time.
class Session::Client final : public StreamClient {
 public:
  static constexpr std::uint64_t no_end = std::numeric_limits<std::uint64_t>::max();

  Client(int inputs, int outputs, double rate_hz)
      : inputs_(static_cast<std::size_t>(inputs)),
        outputs_(static_cast<std::size_t>(outputs)),
        fade_frames_(static_cast<std::uint64_t>(rate_hz * fade_s)),
        taken_ring(static_cast<std::size_t>(rate_hz * ring_s) * inputs_),
        send_ring(static_cast<std::size_t>(rate_hz * ring_s) * outputs_) {}

  void on_audio(const float* in, float* out, std::size_t frames, BufferFlags flags) noexcept override {
    const bool takes = in != nullptr && inputs_ > 0;
    const bool gives = out != nullptr && outputs_ > 0;
    const bool lost =
        (takes && flags.input_lost &&
         taken_.load(std::memory_order_relaxed) < take_target.load(std::memory_order_relaxed)) ||
        (gives && flags.output_lost && !played_out.load(std::memory_order_relaxed));
    // Once for both directions, and once where a driver's long buffer comes in parts that all carry its
    // flags.
    bool& before = takes ? input_lost_ : output_lost_;  // two streams have a thread each
    if (lost && !before) ++xruns;
    before = lost;
    if (takes) {
      take(in, frames);
      ++input_calls;
    }
    if (gives) {
      give(out, frames);
      ++output_calls;
    }
  }

  [[nodiscard]] std::uint64_t taken() const noexcept { return taken_.load(std::memory_order_acquire); }
  [[nodiscard]] std::uint64_t sent() const noexcept { return sent_.load(std::memory_order_acquire); }
  [[nodiscard]] std::uint64_t fade_frames() const noexcept { return fade_frames_; }

 private:
  static constexpr double fade_s = 0.05;
  static constexpr double ring_s = 2.0;  // how long the disk may keep us waiting

  const std::size_t inputs_;
  const std::size_t outputs_;
  const std::uint64_t fade_frames_;

 public:
  SampleRing taken_ring;
  SampleRing send_ring;
  std::atomic<std::uint64_t> take_target{0};     ///< frames to take in, then ignore the rest
  std::atomic<std::uint64_t> fade_from{no_end};  ///< frame from which the output fades out
  std::atomic<bool> fade_now{false};             ///< fade out from the next buffer on
  std::atomic<bool> source_ended{false};         ///< send_ring holds the last of it
  std::atomic<bool> sent_all{false};             ///< source given out whole, or faded out
  std::atomic<std::uint64_t> play_out{0};        ///< frames of silence that must follow until it was heard
  std::atomic<bool> played_out{false};           ///< they did: a gap in the last of it would be known by now
  std::atomic<std::uint64_t> xruns{0};           ///< by the driver's word, and gaps of our own in the output
  std::atomic<std::uint64_t> dropped{0};         ///< frames that found the ring full
  std::atomic<std::uint64_t> input_calls{0};
  std::atomic<std::uint64_t> output_calls{0};

 private:
  void take(const float* in, std::size_t frames) noexcept {
    const std::uint64_t have =
        taken_.load(std::memory_order_relaxed) + dropped.load(std::memory_order_relaxed);
    const std::uint64_t target = take_target.load(std::memory_order_acquire);
    const std::size_t want =
        static_cast<std::size_t>(std::min<std::uint64_t>(frames, target > have ? target - have : 0));
    const std::size_t fit = std::min(want, taken_ring.writable() / inputs_);  // whole frames only
    taken_ring.write({in, fit * inputs_});
    dropped.fetch_add(want - fit, std::memory_order_relaxed);
    taken_.fetch_add(fit, std::memory_order_release);
  }

  void give(float* out, std::size_t frames) noexcept {
    const std::size_t want = frames * outputs_;
    std::size_t n = 0;
    if (sent_all.load(std::memory_order_relaxed)) {
      silent_ += frames;
      if (silent_ >= play_out.load(std::memory_order_relaxed))
        played_out.store(true, std::memory_order_release);
    } else {
      const bool ended = source_ended.load(std::memory_order_acquire);
      n = send_ring.read({out, want});
      // The end may have been announced between the two looks.
      if (n < want && !ended && source_ended.load(std::memory_order_acquire))
        n += send_ring.read({out + n, want - n});
      if (n < want) {
        if (source_ended.load(std::memory_order_acquire)) {
          sent_all.store(true, std::memory_order_release);
        } else {
          ++xruns;
        }
      }
    }
    std::fill(out + n, out + want, 0.0F);
    fade(out, frames);
    sent_.fetch_add(n / outputs_, std::memory_order_release);
  }

  void fade(float* out, std::size_t frames) noexcept {
    const std::uint64_t at = sent_.load(std::memory_order_relaxed);
    if (fade_now.exchange(false, std::memory_order_acq_rel) &&
        fade_from.load(std::memory_order_relaxed) > at) {
      fade_from.store(at, std::memory_order_relaxed);
    }
    const std::uint64_t from = fade_from.load(std::memory_order_relaxed);
    if (from == no_end || at + frames <= from) return;
    for (std::size_t i = 0; i < frames; ++i) {
      const std::uint64_t now = at + i;
      if (now < from) continue;
      const double share = std::min(1.0, static_cast<double>(now - from) / static_cast<double>(fade_frames_));
      const auto gain = static_cast<float>(0.5 + 0.5 * std::cos(std::numbers::pi * share));
      for (std::size_t c = 0; c < outputs_; ++c) out[i * outputs_ + c] *= share >= 1.0 ? 0.0F : gain;
    }
    if (at + frames >= from + fade_frames_) sent_all.store(true, std::memory_order_release);
  }

  bool input_lost_ = false;   ///< in the buffer before; of the input's (or the only) stream
  bool output_lost_ = false;  ///< of an output stream beside it
  std::uint64_t silent_ = 0;  ///< frames given after the source's end
  std::atomic<std::uint64_t> taken_{0};
  std::atomic<std::uint64_t> sent_{0};
};

}  // namespace linebench::capture
