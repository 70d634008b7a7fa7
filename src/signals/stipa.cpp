// The STIPA test signal [IEC 60268-16 ed. 5].
#include <array>
#include <cmath>
#include <numbers>

#include "audio_kinds.hpp"
#include "shaped_noise.hpp"

namespace linebench::signals {
namespace {

struct Band {
  int index;      ///< exact midband 1000 * 10^(index / 10) Hz [IEC 61260-1]
  double fm1_hz;  ///< the two modulation frequencies
  double fm2_hz;
  double level_db;  ///< male speech spectrum, relative
};

// Modulation frequencies as in public code written to edition 5. The levels are edition 5's male speech
// spectrum from memory, found the same in public code; the standard itself was not at hand.
constexpr std::array<Band, 7> bands = {{{-9, 1.60, 8.00, -2.5},
                                        {-6, 1.00, 5.00, 0.5},
                                        {-3, 0.63, 3.15, 0.0},
                                        {0, 2.00, 10.0, -6.0},
                                        {3, 1.25, 6.25, -12.0},
                                        {6, 0.80, 4.00, -18.0},
                                        {9, 2.50, 12.5, -24.0}}};
/// Depth of each of the two modulations of intensity.
constexpr double modulation_depth = 0.55;
/// Carriers are half an octave wide, in the middle of their octave.
constexpr double half_width_octaves = 0.25;
constexpr double edge_hz = 5;
constexpr double peak_sigmas = 9;  ///< of the whole: noise whose intensity itself rises to 2.1 times its mean

double midband_hz(const Band& b) { return 1000 * std::pow(10.0, b.index / 10.0); }
double upper_hz(const Band& b) { return midband_hz(b) * std::exp2(half_width_octaves); }

/// sqrt(0.5 (1 + 0.55 (sin 2 pi f1 t - sin 2 pi f2 t))): its square, the intensity, is modulated sinusoidally
/// twice.
double envelope(const Band& b, double t_s) {
  const auto sine = [t_s](double hz) {
    const double turns = hz * t_s;
    return std::sin(2 * std::numbers::pi * (turns - std::floor(turns)));
  };
  return std::sqrt(0.5 * (1 + modulation_depth * (sine(b.fm1_hz) - sine(b.fm2_hz))));
}

class Stipa : public Generator {
 public:
  Stipa(const Recipe& recipe, const GeneratorOptions& options)
      : rate_hz_(options.rate_hz), seed_(static_cast<std::uint64_t>(recipe.number("seed"))) {
    frames_ = frames_of(seconds_of(recipe, options), rate_hz_);
    peak_ = peak_sigmas / std::numbers::sqrt2;
    double power = 0;
    for (std::size_t i = 0; i < bands.size(); ++i) {
      weights_[i] = std::pow(10.0, bands[i].level_db / 20);
      power += 0.5 * weights_[i] * weights_[i];  // the mean of the squared envelope is 0.5
    }
    for (double& w : weights_) w /= std::sqrt(2 * power);
  }

  void next(std::span<double> left, std::span<double>) override {
    if (!noise_) noise_ = std::make_unique<ShapedNoise>(rate_hz_, seed_, edge_hz, carriers());
    for (double& v : left) {
      if (at_ == 0) noise_->advance();
      const double t = static_cast<double>(frame_++) / rate_hz_;
      v = 0;
      for (std::size_t i = 0; i < bands.size(); ++i)
        v += weights_[i] * envelope(bands[i], t) * noise_->block(i)[at_];
      at_ = (at_ + 1) % noise_->block_size();
    }
  }

 private:
  static std::vector<ShapedNoise::Response> carriers() {
    std::vector<ShapedNoise::Response> responses;
    for (const Band& b : bands) {
      responses.emplace_back(
          [low = midband_hz(b) * std::exp2(-half_width_octaves), high = upper_hz(b)](double hz) {
            return hz < low || hz > high ? 0.0 : 1 / std::sqrt(hz);  // pink
          });
    }
    return responses;
  }

  double rate_hz_;
  std::uint64_t seed_;
  std::array<double, bands.size()> weights_{};
  std::unique_ptr<ShapedNoise> noise_;
  std::size_t at_ = 0;
  std::uint64_t frame_ = 0;
};

std::unique_ptr<Generator> make_stipa(const Recipe& recipe, const GeneratorOptions& options) {
  require_below_nyquist(recipe, upper_hz(bands.back()), options.rate_hz);
  return std::make_unique<Stipa>(recipe, options);
}

}  // namespace

AudioKind stipa_kind() {
  return {{"stipa",
           Medium::Audio,
           "seven bands of noise with the level of speech, each swelling at two rates",
           {seed_parameter(), seconds_parameter(25, 15)}},
          make_stipa};
}

}  // namespace linebench::signals
