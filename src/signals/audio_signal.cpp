#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/signals/audio_signal.hpp>
#include <random>

#include "audio_kinds.hpp"
#include "plans.hpp"

namespace linebench::signals {
namespace {

void check(const Recipe& recipe, const AudioSignalOptions& o) {
  if (recipe.kind == nullptr || recipe.kind->medium != Medium::Audio) {
    throw bad_usage(fmt::format("signal {}: is not an audio signal; 'linebench signals list' shows which are",
                                recipe.name));
  }
  const auto number = [&](const char* what, double v, double min, double max, const char* unit) {
    if (v >= min && v <= max) return;
    throw bad_usage(fmt::format("signal {}: {} {:g}{} is out of range; use {:g} to {:g}{}", recipe.name, what,
                                v, unit, min, max, unit));
  };
  number("sample rate", o.sample_rate_hz, 8000, 192000, " Hz");
  if (o.sample_rate_hz != std::floor(o.sample_rate_hz)) {
    throw bad_usage(
        fmt::format("signal {}: sample rate {:g} Hz must be a whole number", recipe.name, o.sample_rate_hz));
  }
  number("number of channels", o.channels, 1, 64, "");
  if (o.seconds) number("length", *o.seconds, 0.1, 24 * 3600, " s");
  if (o.level_dbfs) number("level", *o.level_dbfs, -140, 0, " dBFS");
  if (o.fade_seconds) number("fade", *o.fade_seconds, 0, 60, " s");
  if (o.dither_bits) number("dither", *o.dither_bits, 8, 24, " bits");
  if (o.route == Route::Right && o.channels < 2) {
    throw bad_usage(
        fmt::format("signal {}: there is no right channel in one channel; use two channels", recipe.name));
  }
}

GeneratorOptions generator_options(const Recipe& recipe, const AudioSignalOptions& o) {
  check(recipe, o);
  return {o.sample_rate_hz, o.seconds, o.fade_seconds.value_or(recipe.number("fade_in_seconds")),
          o.fade_seconds.value_or(recipe.number("fade_out_seconds"))};
}

std::unique_ptr<Generator> make_generator(const Recipe& recipe, const AudioSignalOptions& o) {
  const GeneratorOptions options = generator_options(recipe, o);
  return audio_kind_of(recipe).make(recipe, options);
}

/// The plan of a kind that has one: moved by the silence before it.
template <typename Plan>
Plan plan_of(const Recipe& recipe, const AudioSignalOptions& o, std::string_view kind,
             Plan (*plan)(const Recipe&, const GeneratorOptions&)) {
  const GeneratorOptions options = generator_options(recipe, o);
  if (recipe.kind->name != kind) {
    throw bad_usage(fmt::format("signal {}: is of kind '{}', but one of kind '{}' is needed", recipe.name,
                                recipe.kind->name, kind));
  }
  return plan(recipe, options);
}

class AudioSignal : public AudioSource {
 public:
  AudioSignal(const Recipe& recipe, const AudioSignalOptions& o)
      : generator_(make_generator(recipe, o)), route_(o.route) {
    const double dbfs = signal_level_dbfs(recipe, o);
    gain_ = amplitude_from_db(dbfs);
    if (gain_ * generator_->peak() > 1 + 1e-9) {
      throw bad_usage(fmt::format(
          "signal {}: at {:.1f} dBFS its peaks would pass full scale; {:.1f} dBFS is the most it can have",
          recipe.name, dbfs, std::floor(-10 * db_from_amplitude(generator_->peak())) / 10));
    }
    if (generator_->stereo() && o.channels < 2 && o.route == Route::All) {
      throw bad_usage(fmt::format("signal {}: tells left from right and needs two channels", recipe.name));
    }
    if (o.dither_bits) step_ = std::exp2(1 - *o.dither_bits);
    const double rate = o.sample_rate_hz;
    body_ = generator_->frames();
    lead_ = frames_of(recipe.number("lead_seconds"), rate);
    // Never longer than half the body, so that rise and fall do not meet before full level.
    const GeneratorOptions options = generator_options(recipe, o);
    fade_in_ = std::min(frames_of(options.fade_in_s, rate), body_ / 2);
    fade_out_ = std::min(frames_of(options.fade_out_s, rate), body_ / 2);
    facts_.source = recipe.title;
    facts_.kind = "test signal";
    facts_.sample_rate_hz = rate;
    facts_.channels = o.channels;
    facts_.frames = lead_ + body_ + frames_of(recipe.number("tail_seconds"), rate);
    facts_.signal = recipe.name;
    facts_.notes = generator_->notes();
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }

  std::size_t read(std::span<float> interleaved) override {
    const auto channels = static_cast<std::size_t>(facts_.channels);
    const std::size_t wanted =
        static_cast<std::size_t>(std::min<std::uint64_t>(interleaved.size() / channels, facts_.frames - at_));
    for (std::size_t done = 0; done < wanted;) {
      const std::size_t n = std::min(wanted - done, left_.size());
      fill(n);
      write(n, interleaved.subspan(done * channels, n * channels));
      done += n;
    }
    return wanted;
  }

 private:
  /// The next n samples of the left and right lines, level and fades applied.
  void fill(std::size_t n) {
    const std::uint64_t begin = std::clamp(at_, lead_, lead_ + body_);
    const std::uint64_t end = std::clamp(at_ + n, lead_, lead_ + body_);
    std::fill_n(left_.begin(), n, 0.0);
    std::fill_n(right_.begin(), n, 0.0);
    if (end > begin) {
      const std::size_t offset = begin - at_;
      const std::size_t count = end - begin;
      const auto left = std::span(left_).subspan(offset, count);
      const auto right = std::span(right_).subspan(offset, generator_->stereo() ? count : 0);
      generator_->next(left, right);
      for (std::size_t i = 0; i < count; ++i) {
        const double g = gain_ * fade_at(begin - lead_ + i);
        left[i] = finish(left[i] * g);
        if (!right.empty()) right[i] = finish(right[i] * g);
      }
    }
    at_ += n;
  }

  double finish(double v) {
    if (step_ > 0 && v != 0) v += step_ * (uniform() - uniform());
    return std::clamp(v, -1.0, 1.0);
  }

  /// 0 to 1, from the generator's own bits: the same on every machine.
  double uniform() { return static_cast<double>(random_() >> 11) * 0x1.0p-53; }

  [[nodiscard]] double fade_at(std::uint64_t frame) const {
    double g = 1;
    if (frame < fade_in_) g *= raised_cosine(static_cast<double>(frame) / static_cast<double>(fade_in_));
    const std::uint64_t rest = body_ - 1 - frame;
    if (rest < fade_out_) g *= raised_cosine(static_cast<double>(rest) / static_cast<double>(fade_out_));
    return g;
  }

  void write(std::size_t n, std::span<float> out) const {
    const auto channels = static_cast<std::size_t>(facts_.channels);
    const std::vector<double>& second = generator_->stereo() ? right_ : left_;
    std::ranges::fill(out, 0.0F);
    for (std::size_t i = 0; i < n; ++i) {
      float* frame = &out[i * channels];
      if (route_ != Route::Right) frame[0] = static_cast<float>(left_[i]);
      if (channels > 1 && route_ != Route::Left) frame[1] = static_cast<float>(second[i]);
      if (route_ != Route::All || generator_->stereo()) continue;
      for (std::size_t c = 2; c < channels; ++c) frame[c] = static_cast<float>(left_[i]);
    }
  }

  std::unique_ptr<Generator> generator_;
  Route route_;
  CaptureFacts facts_;
  double gain_ = 0;
  double step_ = 0;  ///< of the dither; 0: none
  std::mt19937_64 random_{1};
  std::uint64_t lead_ = 0;
  std::uint64_t body_ = 0;
  std::uint64_t fade_in_ = 0;
  std::uint64_t fade_out_ = 0;
  std::uint64_t at_ = 0;
  std::vector<double> left_ = std::vector<double>(1024);
  std::vector<double> right_ = std::vector<double>(1024);
};

}  // namespace

std::unique_ptr<AudioSource> make_audio_signal(const Recipe& recipe, const AudioSignalOptions& options) {
  return std::make_unique<AudioSignal>(recipe, options);
}

double signal_seconds(const Recipe& recipe, const AudioSignalOptions& options) {
  const auto generator = make_generator(recipe, options);
  return static_cast<double>(generator->frames()) / options.sample_rate_hz + recipe.number("lead_seconds") +
         recipe.number("tail_seconds");
}

double signal_level_dbfs(const Recipe& recipe, const AudioSignalOptions& options) {
  return options.level_dbfs.value_or(recipe.number("level_dbfs"));
}

std::vector<ToneStep> tone_steps(const Recipe& recipe, const AudioSignalOptions& options) {
  auto steps = plan_of(recipe, options, "stepped-tones", plan_tone_steps);
  for (ToneStep& s : steps) {
    s.from_s += recipe.number("lead_seconds");
    s.to_s += recipe.number("lead_seconds");
  }
  return steps;
}

TimeSpan quiet_span(const Recipe& recipe, const AudioSignalOptions& options) {
  TimeSpan quiet = plan_of(recipe, options, "marked-silence", plan_quiet_span);
  quiet.from_s += recipe.number("lead_seconds");
  quiet.to_s += recipe.number("lead_seconds");
  return quiet;
}

Sweep sweep_of(const Recipe& recipe, const AudioSignalOptions& options) {
  return plan_of(recipe, options, "sweep", plan_sweep);
}

std::vector<double> tone_frequencies(const Recipe& recipe) {
  if (recipe.kind == nullptr || (recipe.kind->name != "multitone" && recipe.kind->name != "two-tone")) {
    throw bad_usage(fmt::format("signal {}: is neither a multitone nor a two-tone signal", recipe.name));
  }
  return plan_tones(recipe);
}

}  // namespace linebench::signals
