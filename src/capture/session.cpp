#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <linebench/base/error.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/session.hpp>
#include <thread>

#include "session_client.hpp"

namespace linebench::capture {
namespace {

using namespace std::chrono_literals;

class SteadyClock final : public SessionClock {
 public:
  [[nodiscard]] std::chrono::nanoseconds now() const override {
    return std::chrono::steady_clock::now().time_since_epoch();
  }
  void sleep(std::chrono::milliseconds span) override { std::this_thread::sleep_for(span); }
};

int channels_to_use(const SoundDevice& device, Direction direction, int asked) {
  const int most = device.channels(direction);
  if (asked > most) {
    throw unusable(fmt::format("{} has {} {} channels, {} asked for; choose with --channels",
                               device.identity(), most, direction == Direction::Input ? "input" : "output",
                               asked));
  }
  return asked > 0 ? asked : std::min(2, most);
}

std::string now_iso() { return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::time(nullptr))); }

}  // namespace

void FileSink::write(std::span<const float> interleaved) { writer_.write(interleaved); }

SessionClock& steady_session_clock() {
  static SteadyClock clock;
  return clock;
}

Session::Session(SoundSystem& system, const SessionPlan& plan, SessionClock& clock,
                 std::chrono::milliseconds silence_is_loss)
    : system_(system), plan_(plan), clock_(clock), silence_is_loss_(silence_is_loss) {
  if (!plan_.from && !plan_.to) throw bad_usage("no sound device given; name one with --from or --to");
  plan_.inputs = plan_.from ? channels_to_use(*plan_.from, Direction::Input, plan_.inputs) : 0;
  plan_.outputs = plan_.to ? channels_to_use(*plan_.to, Direction::Output, plan_.outputs) : 0;
  if (plan_.rate_hz <= 0)
    plan_.rate_hz = plan_.from ? plan_.from->default_rate_hz : plan_.to->default_rate_hz;
  if (plan_.rate_hz < lowest_rate_hz || plan_.rate_hz > highest_rate_hz) {
    throw bad_usage(fmt::format("sample rate {} Hz: choose one from {} to {} Hz", plan_.rate_hz,
                                lowest_rate_hz, highest_rate_hz));
  }
  client_ = std::make_shared<Client>(plan_.inputs, plan_.outputs, plan_.rate_hz);
  const StreamPlan in{
      .from = plan_.from, .inputs = plan_.inputs, .to = {}, .outputs = 0, .rate_hz = plan_.rate_hz};
  const StreamPlan out{
      .from = {}, .inputs = 0, .to = plan_.to, .outputs = plan_.outputs, .rate_hz = plan_.rate_hz};
  if (plan_.from && plan_.to) {
    if (plan_.from->host_api == plan_.to->host_api) {
      const StreamPlan both{
          .from = in.from, .inputs = in.inputs, .to = out.to, .outputs = out.outputs, .rate_hz = in.rate_hz};
      try {
        streams_.push_back(system_.open(both, client_));
      } catch (const Error&) {
        // Some drivers do not couple two cards; each by itself may still do. If not, its error is the clearer
        // one.
        if (plan_.from->identity() == plan_.to->identity()) throw;
      }
    }
    if (streams_.empty()) {
      streams_.push_back(system_.open(in, client_));
      streams_.push_back(system_.open(out, client_));
    }
  } else {
    streams_.push_back(system_.open(plan_.from ? in : out, client_));
  }
  rate_hz_ = streams_.front()->rate_hz();
  if (rate_hz_ <= 0) rate_hz_ = plan_.rate_hz;
  // A driver's figure may carry rounding or its own estimate of the crystal; the file's rate is the nominal
  // one then.
  if (std::abs(rate_hz_ / plan_.rate_hz - 1.0) < 1e-3) rate_hz_ = plan_.rate_hz;
}

Session::~Session() = default;

bool Session::full_duplex() const noexcept { return plan_.from && plan_.to && streams_.size() == 1; }

/// The loop on our side of the rings.
class Session::Loop {
 public:
  Loop(Session& session, const RunPlan& plan) : s_(session), c_(*session.client_), plan_(plan) {}

  Outcome run() {
    check();
    set_targets();
    Outcome outcome;
    outcome.facts.taken_at = now_iso();
    outcome.aligned = s_.full_duplex();
    if (plan_.send != nullptr) refill();
    for (auto& stream : s_.streams_) stream->start();
    last_in_ = last_out_ = last_watch_ = s_.clock_.now();
    try {
      outcome.end = loop(outcome.line);
      if (outcome.end != End::DeviceLost) end_quietly();
    } catch (...) {
      end_quietly();
      stop_streams();
      throw;
    }
    stop_streams();
    if (plan_.take != nullptr && outcome.end != End::StorageFailed) {
      try {
        drain();
      } catch (const Error& e) {
        outcome.end = End::StorageFailed;
        outcome.line = e.what();
      }
    }
    sum_up();
    describe(outcome);
    return outcome;
  }

 private:
  struct Sum {
    float peak = 0;
    double squares = 0;
  };

  void check() const {
    if (plan_.take != nullptr && !s_.plan_.from)
      throw bad_usage("nothing to take in from; name a device with --from");
    if (plan_.send == nullptr) {
      if (plan_.take == nullptr) throw bad_usage("nothing to send and nothing to take in");
      if (plan_.seconds <= 0) throw bad_usage("how long? give --seconds");
      return;
    }
    const CaptureFacts& f = plan_.send->facts();
    if (f.sample_rate_hz != s_.rate_hz_) {
      throw bad_usage(
          fmt::format("the signal has {} Hz, the device runs at {} Hz; make the signal at that rate",
                      f.sample_rate_hz, s_.rate_hz_));
    }
    if (f.channels > s_.plan_.outputs) {
      throw bad_usage(
          fmt::format("the signal has {} channels, {} sends {}; choose a mono signal or another device",
                      f.channels, s_.plan_.to ? s_.plan_.to->identity() : "the session", s_.plan_.outputs));
    }
  }

  void set_targets() {
    const auto frames = [&](double seconds) {
      return static_cast<std::uint64_t>(std::llround(seconds * s_.rate_hz_));
    };
    if (plan_.seconds > 0) {
      total_ = frames(plan_.seconds);
    } else if (plan_.send->facts().frames > 0) {
      total_ = plan_.send->facts().frames + (plan_.take != nullptr ? frames(plan_.tail_s) : 0);
    }
    if (plan_.take != nullptr) c_.take_target.store(total_ > 0 ? total_ : Client::no_end);
    if (plan_.send != nullptr && plan_.seconds > 0) {
      c_.fade_from.store(total_ > c_.fade_frames() ? total_ - c_.fade_frames() : 0);
    }
    if (plan_.send == nullptr) {
      c_.sent_all.store(true);
      c_.played_out.store(true);
    }
    double latency = 0;
    for (const auto& stream : s_.streams_) latency = std::max(latency, stream->output_latency_s());
    // A driver's word, and some give an absurd one (it grows where a path leads back into itself): the end of
    // a capture does not wait for that.
    constexpr double longest_latency_s = 2;
    c_.play_out.store(frames(std::clamp(latency, 0.0, longest_latency_s)));
    taken_.resize(block_frames * static_cast<std::size_t>(std::max(1, s_.plan_.inputs)));
    levels_.assign(static_cast<std::size_t>(s_.plan_.inputs), {});
    totals_ = levels_;
    if (plan_.send != nullptr) {
      source_.resize(block_frames * static_cast<std::size_t>(plan_.send->facts().channels));
      sending_.resize(block_frames * static_cast<std::size_t>(s_.plan_.outputs));
    }
  }

  End loop(std::string& line) {
    for (;;) {
      if (plan_.stop != nullptr && plan_.stop->load()) return End::Stopped;
      if (plan_.take != nullptr) {
        try {
          drain();
        } catch (const Error& e) {
          line = e.what();
          return End::StorageFailed;
        }
      }
      if (plan_.send != nullptr) refill();
      const bool taken = plan_.take == nullptr || c_.taken() + c_.dropped >= c_.take_target;
      // With a length given, the taking-in decides; the rest of the signal is faded out.
      const bool sent = c_.played_out || (plan_.take != nullptr && plan_.seconds > 0);
      if (taken && sent) return End::Complete;
      if (lost()) return End::DeviceLost;
      look();
      s_.clock_.sleep(10ms);
    }
  }

  /// From the ring into the sink. Not more than the ring held when it began, so that Ctrl-C is never late.
  void drain() {
    const auto channels = static_cast<std::size_t>(s_.plan_.inputs);
    for (std::size_t left = c_.taken_ring.readable(); left > 0;) {
      const std::size_t n = c_.taken_ring.read(std::span(taken_).first(std::min(left, taken_.size())));
      left -= n;
      meter(std::span(taken_).first(n), channels);
      plan_.take->write(std::span(taken_).first(n));
      kept_ += n / channels;
    }
  }

  void meter(std::span<const float> x, std::size_t channels) {
    for (std::size_t i = 0; i < x.size(); ++i) {
      Sum& sum = levels_[i % channels];
      sum.peak = std::max(sum.peak, std::abs(x[i]));
      sum.squares += static_cast<double>(x[i]) * static_cast<double>(x[i]);
    }
    metered_ += x.size() / channels;
  }

  void refill() {
    const auto in_channels = static_cast<std::size_t>(plan_.send->facts().channels);
    const auto out_channels = static_cast<std::size_t>(s_.plan_.outputs);
    while (!c_.source_ended && c_.send_ring.writable() >= sending_.size()) {
      const std::size_t n = plan_.send->read(source_);
      for (std::size_t i = 0; i < n; ++i) {
        for (std::size_t c = 0; c < out_channels; ++c) {
          const bool has = in_channels == 1 || c < in_channels;
          sending_[i * out_channels + c] = has ? source_[i * in_channels + (in_channels == 1 ? 0 : c)] : 0.0F;
        }
      }
      c_.send_ring.write(std::span(sending_).first(n * out_channels));
      read_ += n;
      if (n == 0) {
        if (plan_.take != nullptr && total_ == 0) {
          total_ = read_ + static_cast<std::uint64_t>(std::llround(plan_.tail_s * s_.rate_hz_));
          c_.take_target.store(total_);
        }
        c_.source_ended.store(true);
      }
    }
  }

  bool lost() {
    const auto now = s_.clock_.now();
    const auto silent = [&](std::uint64_t calls, std::uint64_t& before, std::chrono::nanoseconds& since) {
      if (calls != before) since = now;
      before = calls;
      return now - since >= s_.silence_is_loss_;
    };
    bool gone = std::any_of(s_.streams_.begin(), s_.streams_.end(),
                            [](const auto& stream) { return !stream->alive(); });
    if (s_.plan_.from && silent(c_.input_calls, in_before_, last_in_)) gone = true;
    if (s_.plan_.to && silent(c_.output_calls, out_before_, last_out_)) gone = true;
    if (gone) {
      for (auto& stream : s_.streams_) stream->abandon();
    }
    return gone;
  }

  void look() {
    const auto now = s_.clock_.now();
    if (!plan_.watch || now - last_watch_ < 100ms) return;
    last_watch_ = now;
    SessionStatus status;
    status.done_s = static_cast<double>(plan_.take != nullptr ? c_.taken() : c_.sent()) / s_.rate_hz_;
    status.total_s = static_cast<double>(total_) / s_.rate_hz_;
    status.xruns = c_.xruns;
    status.dropped = c_.dropped;
    for (Sum& sum : levels_) {
      status.levels.push_back(
          {sum.peak, metered_ > 0 ? std::sqrt(sum.squares / static_cast<double>(metered_)) : 0});
      sum = {};
    }
    metered_ = 0;
    plan_.watch(status);
  }

  static ChannelLevel level_of(const Sum& sum, std::uint64_t frames) {
    return {sum.peak, frames > 0 ? std::sqrt(sum.squares / static_cast<double>(frames)) : 0};
  }

  /// Moves the sums since the last look into the totals.
  void sum_up() {
    for (std::size_t c = 0; c < levels_.size(); ++c) {
      totals_[c].peak = std::max(totals_[c].peak, levels_[c].peak);
      totals_[c].squares += levels_[c].squares;
      levels_[c] = {};
    }
    metered_ = 0;
  }

  /// Fades what is being sent (nothing to do when it was played out) and waits for that, not longer than it
  /// can take.
  void end_quietly() {
    if (plan_.send == nullptr || c_.sent_all) return;
    c_.fade_now.store(true);
    for (int i = 0; i < 50 && !c_.sent_all; ++i) s_.clock_.sleep(10ms);
  }

  void stop_streams() noexcept {
    // Last first: the output ends before the input.
    for (auto stream = s_.streams_.rbegin(); stream != s_.streams_.rend(); ++stream) (*stream)->stop();
  }

  void describe(Outcome& o) const {
    CaptureFacts& f = o.facts;
    const SoundDevice& device = s_.plan_.from ? *s_.plan_.from : *s_.plan_.to;
    f.source = f.device = device.identity();
    f.kind = "sound device";
    f.sample_rate_hz = s_.rate_hz_;
    f.channels = s_.plan_.from ? s_.plan_.inputs : s_.plan_.outputs;
    f.frames = kept_;
    f.xruns = c_.xruns;
    f.dropped = c_.dropped;
    f.interrupted = o.end != End::Complete;
    o.sent = c_.sent();
    for (const Sum& sum : totals_) o.levels.push_back(level_of(sum, kept_));
    const double done = static_cast<double>(plan_.take != nullptr ? kept_ : o.sent) / s_.rate_hz_;
    const std::string of =
        total_ > 0 ? fmt::format(" of {:.1f} s", static_cast<double>(total_) / s_.rate_hz_) : "";
    if (o.end == End::Stopped) {
      f.notes.push_back(fmt::format("Stopped by hand after {:.1f} s{}.", done, of));
      o.line = fmt::format("stopped after {:.1f} s{}{}", done, of,
                           plan_.take != nullptr && plan_.kept ? "; what was taken is kept" : "");
    } else if (o.end == End::DeviceLost) {
      f.notes.push_back(fmt::format("The device gave no more samples after {:.1f} s{}.", done, of));
      o.line = fmt::format(
          "{}: gives no more samples after {:.1f} s{} (unplugged, or its sound server ended); {}plug it "
          "in again",
          device.identity(), done, of,
          plan_.take != nullptr && plan_.kept && kept_ > 0 ? "what was taken is kept; " : "");
    } else if (o.end == End::StorageFailed) {
      f.notes.push_back(fmt::format("Storing failed after {:.1f} s{}.", done, of));
    }
    if (s_.plan_.from && s_.plan_.to && !o.aligned) {
      f.notes.push_back(
          "Sent and taken in by devices with clocks of their own: delay and long-term phase drift.");
    }
    if (!device.direct()) {
      f.notes.push_back("The device is reached through the system's mixer, which may change level and rate.");
    }
  }

  static constexpr std::size_t block_frames = 4096;

  Session& s_;
  Client& c_;
  const RunPlan& plan_;
  std::uint64_t total_ = 0;  ///< frames planned, 0: not known yet
  std::uint64_t kept_ = 0;
  std::uint64_t read_ = 0;
  std::vector<float> taken_;
  std::vector<float> source_;
  std::vector<float> sending_;
  std::vector<Sum> levels_;  ///< since the last look
  std::vector<Sum> totals_;
  std::uint64_t metered_ = 0;
  std::uint64_t in_before_ = 0;
  std::uint64_t out_before_ = 0;
  std::chrono::nanoseconds last_in_{};
  std::chrono::nanoseconds last_out_{};
  std::chrono::nanoseconds last_watch_{};
};

Outcome Session::run(const RunPlan& plan) { return Loop(*this, plan).run(); }

}  // namespace linebench::capture
