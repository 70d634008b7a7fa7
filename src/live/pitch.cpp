#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/live/pitch.hpp>
#include <numbers>
#include <regex>

namespace linebench::live {
namespace {

constexpr double lowest_hz = 220;
constexpr double octaves = 3;
constexpr double glide_s = 0.03;

// "hw:1" of "USB Audio (hw:1,0)"; empty where the name does not say.
std::string card_of(const capture::SoundDevice& d) {
  static const std::regex card(R"(\((hw:[^,)]+))");
  std::smatch found;
  return std::regex_search(d.name, found, card) ? d.host_api + " " + found[1].str() : "";
}

}  // namespace

std::optional<double> pitch_hz(const Reading& r) {
  if (!std::holds_alternative<double>(r.value)) return std::nullopt;
  double low = 0, high = 0;
  if (r.unit == "dBFS") {
    low = -100;
  } else if (r.unit == "dB") {
    high = 80;
  } else if (r.unit.starts_with("%")) {
    high = 10;
  } else {
    return std::nullopt;
  }
  const double share = std::clamp((r.number() - low) / (high - low), 0.0, 1.0);
  return lowest_hz * std::exp2(octaves * share);
}

std::string pitch_refusal(const capture::SoundDevice& out, const std::optional<capture::SoundDevice>& in,
                          bool checked) {
  if (!in) return {};
  if (out.identity() == in->identity()) {
    return fmt::format("{} is what is being watched: the pitch would go into the path; use another device",
                       out.identity());
  }
  const std::string card = card_of(out);
  if (!card.empty() && card == card_of(*in)) {
    return fmt::format(
        "{} is on the card that is being watched, whose output the path may hang on; use another",
        out.identity());
  }
  if (checked || (!card.empty() && !card_of(*in).empty())) return {};
  return fmt::format(
      "{} may lead to the card that is being watched; look where it plays, then say so with --pitch-checked",
      out.identity());
}

/// On the driver's thread: no locks, no allocation.
class Pitch::Client final : public capture::StreamClient {
 public:
  explicit Client(std::size_t channels) : channels_(channels) {}
  void on_audio(const float*, float* out, std::size_t frames, capture::BufferFlags) noexcept override {
    if (out == nullptr) return;
    const double rate = rate_hz.load();
    const double share = 1 - std::exp(-1 / (glide_s * rate));
    const double to = target_hz.load();
    const double loud = to > 0 ? amplitude_from_db(pitch_dbfs) : 0;
    for (std::size_t i = 0; i < frames; ++i) {
      gain_ += share * (loud - gain_);
      if (to > 0) hz_ += share * (to - hz_);
      turns_ += hz_ / rate;
      turns_ -= std::floor(turns_);
      const auto v = static_cast<float>(gain_ * std::sin(2 * std::numbers::pi * turns_));
      for (std::size_t c = 0; c < channels_; ++c) out[i * channels_ + c] = v;
    }
  }
  std::atomic<double> rate_hz = 48000;
  std::atomic<double> target_hz = 0;  ///< 0: silence

 private:
  std::size_t channels_;
  double hz_ = lowest_hz;
  double gain_ = 0;
  double turns_ = 0;
};

Pitch::Pitch(capture::SoundSystem& system, const capture::SoundDevice& out) {
  const int channels = std::min(2, out.outputs);
  client_ = std::make_shared<Client>(static_cast<std::size_t>(channels));
  stream_ = system.open(
      {.from = {}, .inputs = 0, .to = out, .outputs = channels, .rate_hz = out.default_rate_hz}, client_);
  if (stream_->rate_hz() > 0) client_->rate_hz = stream_->rate_hz();
  stream_->start();
}
Pitch::~Pitch() {
  if (!stream_->alive()) stream_->abandon();
  stream_->stop();
}
void Pitch::follow(const std::optional<double>& hz) { client_->target_hz = hz.value_or(0); }
bool Pitch::alive() const { return stream_->alive(); }

}  // namespace linebench::live
