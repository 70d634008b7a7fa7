// The thin adapter to PortAudio.
#include <dlfcn.h>
#include <fmt/format.h>
#include <fmt/ranges.h>
#include <portaudio.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstdarg>
#include <cstdlib>
#include <future>
#include <linebench/base/error.hpp>
#include <linebench/base/quiet_stderr.hpp>
#include <linebench/capture/sound_device.hpp>
#include <thread>

namespace linebench::capture {
namespace {

// Fixed: with a length of its own choosing for each callback some drivers give odd bursts, and delays then
// scatter.
constexpr unsigned long frames_per_buffer = 512;
// A driver whose device is gone may never come back from closing.
constexpr auto patience = std::chrono::seconds(2);

extern "C" {
using AlsaHandler = void (*)(const char*, int, const char*, int, const char*, ...);
using JackHandler = void (*)(const char*);
}
void quiet_alsa(const char* /*file*/, int /*line*/, const char* /*function*/, int /*code*/,
                const char* /*text*/, ...) {}
void quiet_jack(const char* /*text*/) {}

/// The layers below print to standard error on every probe. They come in with PortAudio, so they are looked
/// up at run time: a PortAudio built without one of them is no reason to fail.
void silence_layers() {
  if (void* f = dlsym(RTLD_DEFAULT, "snd_lib_error_set_handler"); f != nullptr) {
    reinterpret_cast<int (*)(AlsaHandler)>(f)(quiet_alsa);
  }
  for (const char* setter : {"jack_set_error_function", "jack_set_info_function"}) {
    if (void* f = dlsym(RTLD_DEFAULT, setter); f != nullptr)
      reinterpret_cast<void (*)(JackHandler)>(f)(quiet_jack);
  }
}

std::string host_word(const PaHostApiInfo* host) {
  if (host == nullptr) return "sound";
  return host->type == paJACK ? "JACK" : host->name;
}

/// PortAudio's words, with the host's own where those say more.
std::string reason(PaError error) {
  if (error == paUnanticipatedHostError) {
    if (const PaHostErrorInfo* info = Pa_GetLastHostErrorInfo();
        info != nullptr && info->errorText != nullptr && *info->errorText != '\0') {
      return info->errorText;
    }
  }
  return Pa_GetErrorText(error);
}

class PortAudioStream final : public SoundStream {
 public:
  PortAudioStream(const PaStreamParameters* in, const PaStreamParameters* out, double rate,
                  std::shared_ptr<StreamClient> client, std::shared_ptr<std::atomic<bool>> stuck)
      : client_(std::move(client)), stuck_(std::move(stuck)) {
    const QuietStderr quiet;  // PortAudio prints the expressions that fail inside it
    error_ = Pa_OpenStream(&stream_, in, out, rate, frames_per_buffer, paClipOff | paDitherOff, &callback,
                           client_.get());
  }
  ~PortAudioStream() override {
    if (stream_ == nullptr) return;
    if (!abandoned_) {
      Pa_CloseStream(stream_);
      return;
    }
    // The client must outlive a callback that may still come, so the thread keeps it.
    std::promise<void> closed;
    std::future<void> wait = closed.get_future();
    std::thread([stream = stream_, client = client_, done = std::move(closed)]() mutable {
      quiet_this_thread();
      Pa_AbortStream(stream);
      Pa_CloseStream(stream);
      done.set_value();
    }).detach();
    if (wait.wait_for(patience) != std::future_status::ready) stuck_->store(true);
  }
  PortAudioStream(const PortAudioStream&) = delete;
  PortAudioStream& operator=(const PortAudioStream&) = delete;

  [[nodiscard]] PaError error() const { return error_; }
  [[nodiscard]] double rate_hz() const override {
    const PaStreamInfo* info = Pa_GetStreamInfo(stream_);
    return info != nullptr ? info->sampleRate : 0;
  }
  [[nodiscard]] double output_latency_s() const override {
    const PaStreamInfo* info = Pa_GetStreamInfo(stream_);
    return info != nullptr ? info->outputLatency : 0;
  }
  void start() override {
    PaError e = paNoError;
    {
      const QuietStderr quiet;
      e = Pa_StartStream(stream_);
    }
    if (e != paNoError) {
      throw unusable(
          fmt::format("the sound device would not start ({}); close other programs that use it, or plug it "
                      "in again",
                      reason(e)));
    }
  }
  void stop() noexcept override {
    if (abandoned_) return;
    // A sound server that ends at this very moment keeps PortAudio waiting for minutes. The thread keeps the
    // client; a stream that never stopped is left as it is, since closing it would hang too.
    std::promise<void> stopped;
    std::future<void> wait = stopped.get_future();
    std::thread([stream = stream_, client = client_, done = std::move(stopped)]() mutable {
      quiet_this_thread();
      Pa_StopStream(stream);
      done.set_value();
    }).detach();
    if (wait.wait_for(patience) == std::future_status::ready) return;
    stuck_->store(true);
    stream_ = nullptr;
  }
  [[nodiscard]] bool alive() const noexcept override { return Pa_IsStreamActive(stream_) == 1; }
  void abandon() noexcept override { abandoned_ = true; }

 private:
  static int callback(const void* in, void* out, unsigned long frames,
                      const PaStreamCallbackTimeInfo* /*time*/, PaStreamCallbackFlags flags, void* user) {
    quiet_this_thread();  // when the card is pulled PortAudio prints from here what failed inside it
    const BufferFlags lost{.input_lost = (flags & (paInputOverflow | paInputUnderflow)) != 0,
                           .output_lost = (flags & (paOutputOverflow | paOutputUnderflow)) != 0};
    static_cast<StreamClient*>(user)->on_audio(static_cast<const float*>(in), static_cast<float*>(out),
                                               frames, lost);
    return paContinue;
  }

  PaStream* stream_ = nullptr;
  PaError error_ = paNoError;
  std::shared_ptr<StreamClient> client_;
  std::shared_ptr<std::atomic<bool>> stuck_;
  bool abandoned_ = false;
};

class PortAudioSystem final : public SoundSystem {
 public:
  PortAudioSystem() {
    silence_layers();
    pass_stderr_by_thread();
    // A measurement must not start services behind the user's back.
    (void)::setenv("JACK_NO_START_SERVER", "1", 0);
    PaError e = paNoError;
    {
      const QuietStderr quiet;
      e = Pa_Initialize();
    }
    if (e != paNoError) {
      throw unusable(
          fmt::format("the sound system cannot be reached ({}); check that you may use sound devices "
                      "(group audio)",
                      reason(e)));
    }
  }
  ~PortAudioSystem() override {
    if (!stuck_->load()) Pa_Terminate();
  }
  PortAudioSystem(const PortAudioSystem&) = delete;
  PortAudioSystem& operator=(const PortAudioSystem&) = delete;

  [[nodiscard]] std::vector<SoundDevice> devices() override {
    std::vector<SoundDevice> list;
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) list.push_back(describe(*Pa_GetDeviceInfo(i)));
    return list;
  }

  [[nodiscard]] std::vector<double> rates(const SoundDevice& device, Direction direction,
                                          int channels) override {
    const PaStreamParameters p = parameters(device, direction, channels);
    std::vector<double> taken;
    const QuietStderr quiet;
    for (const double rate : usual_rates_hz) {
      const bool in = direction == Direction::Input;
      if (Pa_IsFormatSupported(in ? &p : nullptr, in ? nullptr : &p, rate) == paFormatIsSupported)
        taken.push_back(rate);
    }
    return taken;
  }

  [[nodiscard]] std::unique_ptr<SoundStream> open(const StreamPlan& plan,
                                                  std::shared_ptr<StreamClient> client) override {
    PaStreamParameters in{};
    PaStreamParameters out{};
    if (plan.from) in = parameters(*plan.from, Direction::Input, plan.inputs);
    if (plan.to) out = parameters(*plan.to, Direction::Output, plan.outputs);
    auto stream = std::make_unique<PortAudioStream>(plan.from ? &in : nullptr, plan.to ? &out : nullptr,
                                                    plan.rate_hz, std::move(client), stuck_);
    if (stream->error() != paNoError) throw unusable(refusal(plan, stream->error()));
    return stream;
  }

 private:
  static SoundDevice describe(const PaDeviceInfo& info) {
    return {.host_api = host_word(Pa_GetHostApiInfo(info.hostApi)),
            .name = info.name,
            .inputs = info.maxInputChannels,
            .outputs = info.maxOutputChannels,
            .default_rate_hz = info.defaultSampleRate};
  }

  static PaStreamParameters parameters(const SoundDevice& device, Direction direction, int channels) {
    for (PaDeviceIndex i = 0; i < Pa_GetDeviceCount(); ++i) {
      const PaDeviceInfo& info = *Pa_GetDeviceInfo(i);
      if (describe(info).identity() != device.identity()) continue;
      return {.device = i,
              .channelCount = channels,
              .sampleFormat = paFloat32,
              .suggestedLatency = direction == Direction::Input ? info.defaultHighInputLatency
                                                                : info.defaultHighOutputLatency,
              .hostApiSpecificStreamInfo = nullptr};
    }
    throw unusable(fmt::format("{}: the device is no longer there; plug it in again", device.identity()));
  }

  /// The commonest refusal is the rate: then the answer names the rates that would do.
  std::string refusal(const StreamPlan& plan, PaError error) {
    std::string rates_text;
    const auto add = [&](const std::optional<SoundDevice>& device, Direction direction, int channels) {
      if (!device) return;
      const std::vector<double> taken = rates(*device, direction, channels);
      if (std::find(taken.begin(), taken.end(), plan.rate_hz) != taken.end()) return;
      const std::string words =
          taken.empty()
              ? fmt::format("{} takes none of the usual rates with {} channels", device->identity(), channels)
              : fmt::format("{} takes {} Hz", device->identity(), fmt::join(taken, ", "));
      if (rates_text.find(words) != std::string::npos) return;  // one card, both directions
      rates_text += (rates_text.empty() ? "" : "; ") + words;
    };
    add(plan.from, Direction::Input, plan.inputs);
    add(plan.to, Direction::Output, plan.outputs);
    const std::string who = plan.from ? plan.from->identity() : plan.to->identity();
    if (!rates_text.empty())
      return fmt::format("{} Hz refused: {}; choose with --rate", plan.rate_hz, rates_text);
    return fmt::format("{}: cannot be opened ({}); close other programs that use it", who, reason(error));
  }

  // Shared with streams: set when closing one never came back. Ending PortAudio would then hang too.
  std::shared_ptr<std::atomic<bool>> stuck_ = std::make_shared<std::atomic<bool>>(false);
};

}  // namespace

std::unique_ptr<SoundSystem> open_sound_system() { return std::make_unique<PortAudioSystem>(); }

}  // namespace linebench::capture
