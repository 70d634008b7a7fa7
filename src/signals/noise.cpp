// White and pink noise within a band.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <numbers>

#include "audio_kinds.hpp"
#include "shaped_noise.hpp"

namespace linebench::signals {
namespace {

/// Where the band has to end at the latest, as a share of the sample rate: room for the filter's edge.
constexpr double highest_share = 0.475;
/// Third-octave bands down to 20 Hz are 4.6 Hz wide; edges of 1 Hz leave them whole.
constexpr double edge_hz = 1.0;
/// Peaks beyond 6.5 standard deviations come once in 10^10 samples.
constexpr double peak_sigmas = 6.5;

class NoiseGenerator : public Generator {
 public:
  NoiseGenerator(const Recipe& recipe, const GeneratorOptions& options)
      : rate_hz_(options.rate_hz),
        pink_(recipe.text("colour") == "pink"),
        low_hz_(recipe.number("low_hz")),
        high_hz_(std::min(recipe.number("high_hz"), highest_share * options.rate_hz)),
        seed_(static_cast<std::uint64_t>(recipe.number("seed"))) {
    if (!(low_hz_ < high_hz_)) {
      throw bad_usage(fmt::format(
          "signal {}: no band from {:g} to {:g} Hz at a sample rate of {:g} Hz; use a higher rate",
          recipe.name, low_hz_, high_hz_, rate_hz_));
    }
    if (high_hz_ < recipe.number("high_hz")) {
      notes_.push_back(
          fmt::format("the noise ends at {:.0f} Hz instead of {:g} Hz, for the sample rate is {:g} Hz",
                      high_hz_, recipe.number("high_hz"), rate_hz_));
    }
    frames_ = frames_of(seconds_of(recipe, options), rate_hz_);
    peak_ = peak_sigmas / std::numbers::sqrt2;
  }

  void next(std::span<double> left, std::span<double>) override {
    if (!noise_)
      noise_ = std::make_unique<ShapedNoise>(rate_hz_, seed_, edge_hz,
                                             std::vector<ShapedNoise::Response>{response()});
    for (double& v : left) {
      if (at_ == 0) noise_->advance();
      v = noise_->block(0)[at_] / std::numbers::sqrt2;
      at_ = (at_ + 1) % noise_->block_size();
    }
  }

 private:
  [[nodiscard]] ShapedNoise::Response response() const {
    return [low = low_hz_, high = high_hz_, pink = pink_](double hz) {
      if (hz < low || hz > high) return 0.0;
      return pink ? 1 / std::sqrt(hz) : 1.0;
    };
  }

  double rate_hz_;
  bool pink_;
  double low_hz_;
  double high_hz_;
  std::uint64_t seed_;
  std::unique_ptr<ShapedNoise> noise_;
  std::size_t at_ = 0;
};

std::unique_ptr<Generator> make_noise(const Recipe& recipe, const GeneratorOptions& options) {
  return std::make_unique<NoiseGenerator>(recipe, options);
}

}  // namespace

AudioKind noise_kind() {
  ParameterSpec colour{"colour", "",
                       "white (the same power in every hertz) or pink (the same in every octave)",
                       std::string()};
  colour.allowed = {"white", "pink"};
  return {{"noise",
           Medium::Audio,
           "steady Gaussian noise within a band",
           {colour, frequency_parameter("low_hz", "lower edge", 20.0),
            frequency_parameter("high_hz", "upper edge", 20000.0), seed_parameter(), seconds_parameter(30)}},
          make_noise};
}

}  // namespace linebench::signals
