#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <condition_variable>
#include <ctime>
#include <deque>
#include <linebench/base/error.hpp>
#include <linebench/capture/picture_session.hpp>
#include <linebench/signals/picture_module.hpp>
#include <mutex>
#include <thread>

#include "frame_readers.hpp"

namespace linebench::capture {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

constexpr std::size_t queue_length = 24;  // about a second

struct Taken {
  std::vector<std::uint8_t> bytes;
  std::uint32_t sequence = 0;
  bool corrupt = false;
};

// What passes between the grabber's thread and the one that talks to the disk.
class Queue {
 public:
  // @return false when it is full: the frame is lost.
  bool push(const GrabbedFrame& f) {
    const std::lock_guard lock(mutex_);
    if (ready_.size() >= queue_length) return false;
    Taken t;
    if (!spare_.empty()) {
      t = std::move(spare_.back());
      spare_.pop_back();
    }
    t.bytes.assign(f.bytes.begin(), f.bytes.end());
    t.sequence = f.sequence;
    t.corrupt = f.corrupt;
    ready_.push_back(std::move(t));
    some_.notify_one();
    return true;
  }
  bool pop(Taken& out, std::chrono::milliseconds most) {
    std::unique_lock lock(mutex_);
    if (!some_.wait_for(lock, most, [&] { return !ready_.empty(); })) return false;
    if (!out.bytes.empty()) spare_.push_back(std::move(out));
    out = std::move(ready_.front());
    ready_.pop_front();
    return true;
  }

 private:
  std::mutex mutex_;
  std::condition_variable some_;
  std::deque<Taken> ready_;
  std::vector<Taken> spare_;
};

// "1 frame was", "3 frames were".
std::string were(std::uint64_t n, std::string_view what) {
  return fmt::format("{} {}{} ", n, what, n == 1 ? "" : "s") + (n == 1 ? "was" : "were");
}

class Grabbing {
 public:
  Grabbing(GrabberStream& stream, const PictureRunPlan& plan) : stream_(stream), plan_(plan) {}

  // The grabber's thread.
  void run(const std::stop_token& stop) {
    auto last_frame = Clock::now();
    auto last_look = Clock::time_point{};
    GrabbedFrame f;
    while (!stop.stop_requested()) {
      const auto now = Clock::now();
      if (now - last_look > 500ms) {
        last_look = now;
        const GrabberStream::Wire w = stream_.wire();
        signal.store(w.signal);
        lines.store(w.lines);
      }
      switch (stream_.wait(100ms, f)) {
        case WaitResult::Frame:
          last_frame = Clock::now();
          if (!queue.push(f)) ++overflow;
          break;
        case WaitResult::Timeout:
          if (Clock::now() - last_frame > plan_.silence_is_loss) {
            stalled.store(true);
            return;
          }
          break;
        case WaitResult::Lost:
          gone.store(true);
          return;
      }
    }
  }

  Queue queue;
  std::atomic<SignalState> signal{SignalState::Unknown};
  std::atomic<int> lines{0};
  std::atomic<std::uint64_t> overflow{0};
  std::atomic<bool> stalled{false};
  std::atomic<bool> gone{false};

 private:
  GrabberStream& stream_;
  const PictureRunPlan& plan_;
};

// Buffers as packed YUYV.
class Packer {
 public:
  explicit Packer(const GrabberSetting& s) : s_(s) {}
  // @return empty where the buffer does not hold a whole frame.
  std::span<const std::uint8_t> pack(const Taken& t) {
    const auto w = static_cast<std::size_t>(s_.format.width);
    const auto h = static_cast<std::size_t>(s_.format.height);
    out_.resize(2 * w * h);
    if (s_.fourcc == "MJPG")
      return decode(t) ? std::span<const std::uint8_t>(out_) : std::span<const std::uint8_t>();
    if (t.bytes.size() < (h - 1) * s_.bytes_per_line + 2 * w) return {};
    for (std::size_t r = 0; r < h; ++r) {
      const std::uint8_t* from = t.bytes.data() + r * s_.bytes_per_line;
      std::uint8_t* to = out_.data() + r * 2 * w;
      if (s_.fourcc == "UYVY") {
        for (std::size_t i = 0; i < 2 * w; i += 2) {
          to[i] = from[i + 1];
          to[i + 1] = from[i];
        }
      } else {
        std::copy_n(from, 2 * w, to);
      }
    }
    return out_;
  }

 private:
  bool decode(const Taken& t) {
    const bool good = signals::with_picture_module("MJPEG cannot be decoded", [&](signals::PictureModule& m) {
      return m.decode_still(t.bytes.data(), t.bytes.size(), image_);
    });
    if (!good || image_.width != s_.format.width || image_.height != s_.format.height) return false;
    from_bgr(image_.bgr, image_.width, image_.height, frame_);
    for (std::size_t i = 0; i < frame_.cb.size(); ++i) {
      out_[4 * i] = frame_.y[2 * i];
      out_[4 * i + 1] = frame_.cb[i];
      out_[4 * i + 2] = frame_.y[2 * i + 1];
      out_[4 * i + 3] = frame_.cr[i];
    }
    return true;
  }

  const GrabberSetting& s_;
  std::vector<std::uint8_t> out_;
  signals::BgrImage image_;
  Frame frame_;
};

class Run {
 public:
  Run(GrabberStream& stream, const std::string& name, const PictureRunPlan& plan)
      : stream_(stream), name_(name), plan_(plan), packer_(stream.setting()), grabbing_(stream, plan) {}

  PictureOutcome run() {
    const FrameFormat& format = stream_.setting().format;
    const auto wanted =
        static_cast<std::uint64_t>(std::max(1.0, std::round(plan_.seconds * format.frame_rate_hz)));
    out_.facts.taken_at = fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::time(nullptr)));
    out_.facts.notes = stream_.setting().notes;
    stream_.start();
    {
      const std::jthread thread([this](const std::stop_token& stop) { grabbing_.run(stop); });
      out_.end = loop(wanted);
    }
    stream_.stop();
    sum_up(wanted);
    return std::move(out_);
  }

 private:
  End loop(std::uint64_t wanted) {
    Taken t;
    auto last_watch = Clock::time_point{};
    while (count() < wanted) {
      if (plan_.stop != nullptr && plan_.stop->load()) return End::Stopped;
      const bool ended =
          grabbing_.gone || grabbing_.stalled;  // looked at first: the queue holds what came before
      if (grabbing_.queue.pop(t, ended ? 0ms : 100ms)) {
        try {
          keep(t);
        } catch (const Error& e) {
          out_.line = e.what();
          return End::StorageFailed;
        }
      } else if (ended) {
        return End::DeviceLost;
      }
      const std::string event = look_at_wire();
      if (plan_.watch && (!event.empty() || Clock::now() - last_watch > 200ms)) {
        last_watch = Clock::now();
        plan_.watch({static_cast<double>(count()) / stream_.setting().format.frame_rate_hz, plan_.seconds,
                     out_.facts.dropped, out_.corrupt.size(), signal_, event});
      }
    }
    return End::Complete;
  }

  [[nodiscard]] std::uint64_t count() const { return out_.facts.frames; }

  void keep(const Taken& t) {
    if (any_ && t.sequence - sequence_ > 1) {  // wraps round at 2^32
      const std::uint64_t lost = t.sequence - sequence_ - 1U;
      if (lost < 1'000'000) {
        pending_lost_ += lost;
        out_.facts.dropped += lost;
      }
    }
    any_ = true;
    sequence_ = t.sequence;
    const auto bytes = packer_.pack(t);
    if (bytes.empty()) {  // cut short: as good as lost
      ++pending_lost_;
      ++out_.facts.dropped;
      ++short_;
      return;
    }
    plan_.take->write(bytes, {pending_lost_, t.corrupt});
    if (pending_lost_ > 0) out_.lost.emplace_back(count(), pending_lost_);
    pending_lost_ = 0;
    if (t.corrupt) out_.corrupt.push_back(count());
    ++out_.facts.frames;
  }

  // @return what has changed, as a sentence.
  std::string look_at_wire() {
    const double at = static_cast<double>(count()) / stream_.setting().format.frame_rate_hz;
    std::string event;
    if (const SignalState s = grabbing_.signal.load(); s != signal_) {
      const bool bad = s == SignalState::None || s == SignalState::NoLock;
      const bool was_bad = signal_ == SignalState::None || signal_ == SignalState::NoLock;
      if (bad)
        event = fmt::format("{} at {:.1f} s",
                            s == SignalState::None ? "no signal at the input" : "the signal has no sync lock",
                            at);
      else if (was_bad)
        event = fmt::format("the signal is back at {:.1f} s", at);
      signal_ = s;
    }
    if (const int l = grabbing_.lines.load(); l != 0 && l != lines_) {
      lines_ = l;
      if (l != stream_.setting().format.lines)
        event += fmt::format(
            "{}the wire carries {} lines, the grabber is set to {} (at {:.1f} s); choose --standard {}",
            event.empty() ? "" : "; ", l, stream_.setting().format.lines, at, l);
    }
    if (!event.empty()) out_.facts.notes.push_back(event);
    return event;
  }

  void sum_up(std::uint64_t wanted) {
    CaptureFacts& f = out_.facts;
    f.kind = "frames";
    f.sample_rate_hz = stream_.setting().format.frame_rate_hz;
    f.interrupted = count() < wanted;
    const std::uint64_t ours = grabbing_.overflow;
    if (ours > 0)
      f.notes.push_back(fmt::format("{} lost because the disk could not keep up", were(ours, "frame")));
    if (short_ > 0)
      f.notes.push_back(fmt::format("{} left out, cut short by the driver", were(short_, "buffer")));
    if (!out_.corrupt.empty())
      f.notes.push_back(
          fmt::format("{} marked as damaged by the driver", were(out_.corrupt.size(), "frame")));
    const std::string kept =
        count() > 0 ? fmt::format("; the {} frames before are kept", count()) : "; nothing was taken";
    if (out_.end == End::DeviceLost)
      out_.line =
          grabbing_.gone
              ? fmt::format("{}: the device is gone{}; plug it in again", name_, kept)
              : fmt::format("{}: no frames for {:.1f} s{}; check the signal and the cable to the computer",
                            name_, static_cast<double>(plan_.silence_is_loss.count()) / 1000, kept);
    if (out_.end == End::Stopped) out_.line = fmt::format("stopped{}", kept);
    if (out_.end == End::StorageFailed) out_.line += kept;
  }

  GrabberStream& stream_;
  std::string name_;
  const PictureRunPlan& plan_;
  Packer packer_;
  Grabbing grabbing_;
  PictureOutcome out_;
  bool any_ = false;
  std::uint32_t sequence_ = 0;
  std::uint64_t pending_lost_ = 0, short_ = 0;
  SignalState signal_ = SignalState::Unknown;
  int lines_ = 0;
};

}  // namespace

PictureOutcome take_picture(GrabberStream& stream, const std::string& name, const PictureRunPlan& plan) {
  if (plan.take == nullptr || !(plan.seconds > 0)) throw bad_usage("how long? give --seconds");
  return Run(stream, name, plan).run();
}

}  // namespace linebench::capture
