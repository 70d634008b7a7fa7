// Signals made of tone bursts at their times: stepped tones, left/right identification, marked silence.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/standards/third_octave.hpp>

#include "audio_kinds.hpp"
#include "oscillators.hpp"
#include "plans.hpp"

namespace linebench::signals {
namespace {

struct Burst {
  double hz = 0;
  std::uint64_t from = 0;  ///< frames
  std::uint64_t to = 0;
  bool right = false;  ///< in a two-channel signal: on the right channel only, else the left only
};

class BurstsGenerator : public Generator {
 public:
  /// The bursts, in frames of one cycle, come again every `cycle` frames as often as a whole cycle fits.
  BurstsGenerator(std::vector<Burst> bursts, double rate_hz, double rise_s, std::uint64_t frames,
                  std::uint64_t cycle, bool stereo)
      : bursts_(std::move(bursts)), rate_hz_(rate_hz), rise_(frames_of(rise_s, rate_hz)), cycle_(cycle) {
    frames_ = frames;
    stereo_ = stereo;
  }

  void next(std::span<double> left, std::span<double> right) override {
    std::ranges::fill(left, 0.0);
    std::ranges::fill(right, 0.0);
    for (std::size_t done = 0; done < left.size();) {
      const std::uint64_t begin = at_ % cycle_;
      const std::size_t n = std::min<std::uint64_t>(left.size() - done, cycle_ - begin);
      const bool whole = at_ - begin + cycle_ <= frames_;
      for (std::size_t i = 0; whole && i < bursts_.size(); ++i) {
        const Burst& b = bursts_[i];
        const std::uint64_t from = std::max(begin, b.from);
        const std::uint64_t to = std::min(begin + n, b.to);
        if (from >= to) continue;
        const auto line = stereo_ && b.right ? right : left;
        add_burst(b, from, line.subspan(done + (from - begin), to - from));
      }
      done += n;
      at_ += n;
    }
  }

 private:
  void add_burst(const Burst& b, std::uint64_t from, std::span<double> out) {
    tone_.assign(out.size(), 0.0);
    const Oscillator oscillator{b.hz};
    add_oscillators({&oscillator, 1}, rate_hz_, from - b.from, tone_);
    for (std::size_t i = 0; i < out.size(); ++i) {
      const std::uint64_t since = from + i - b.from;
      const std::uint64_t left_over = b.to - 1 - (from + i);
      const std::uint64_t edge = std::min(since, left_over);
      const double g =
          edge < rise_ ? raised_cosine(static_cast<double>(edge) / static_cast<double>(rise_)) : 1.0;
      out[i] += g * tone_[i];
    }
  }

  std::vector<Burst> bursts_;
  std::vector<double> tone_;
  double rate_hz_;
  std::uint64_t rise_;
  std::uint64_t cycle_;
  std::uint64_t at_ = 0;
};

/// Bursts rise and fall on their own; the whole needs no second rise.
ParameterSpec no_fade(std::string_view key, std::string_view meaning) {
  return number_parameter(key, "s", meaning, 0, 60, 0.0);
}

// --- stepped tones
// ---------------------------------------------------------------------------------------------------

constexpr double step_rise_s = 0.02;

std::vector<standards::ThirdOctave> step_bands(const Recipe& recipe) {
  const auto bands = standards::third_octaves(recipe.number("lowest_hz"), recipe.number("highest_hz"));
  if (bands.empty()) {
    throw unusable(
        fmt::format("recipe {}: no third-octave frequency from lowest_hz to highest_hz; use 20 to 20000",
                    recipe.path.string()));
  }
  return {bands.begin(), bands.end()};
}

double step_seconds(const Recipe& recipe, const GeneratorOptions& options, std::size_t steps) {
  if (!options.seconds) return recipe.number("step_seconds");
  const double each =
      (*options.seconds - options.fade_in_s - options.fade_out_s) / static_cast<double>(steps);
  constexpr double shortest = 5 * step_rise_s;
  if (each >= shortest) return each;
  throw bad_usage(fmt::format(
      "signal {}: {:g} s is too short for {} tones; use {:.1f} s or more", recipe.name, *options.seconds,
      steps,
      std::ceil(10 * (shortest * static_cast<double>(steps) + options.fade_in_s + options.fade_out_s)) / 10));
}

/// Bands that fit below half the rate; those left out are told in a note.
std::vector<standards::ThirdOctave> fitting_bands(const Recipe& recipe, double rate_hz) {
  std::vector<standards::ThirdOctave> bands = step_bands(recipe);
  require_below_nyquist(recipe, bands.front().midband_hz, rate_hz);
  std::erase_if(bands, [&](const standards::ThirdOctave& b) { return b.midband_hz >= rate_hz / 2; });
  return bands;
}

std::unique_ptr<Generator> make_stepped_tones(const Recipe& recipe, const GeneratorOptions& options) {
  class Stepped : public BurstsGenerator {
   public:
    Stepped(std::vector<Burst> bursts, double rate_hz, std::uint64_t frames, std::vector<std::string> notes)
        : BurstsGenerator(std::move(bursts), rate_hz, step_rise_s, frames, frames, false) {
      notes_ = std::move(notes);
    }
  };
  const std::vector<ToneStep> steps = plan_tone_steps(recipe, options);
  std::vector<Burst> bursts;
  std::uint64_t from = 0;
  for (const ToneStep& s : steps) {
    const std::uint64_t to =
        frames_of(s.to_s + (&s == &steps.back() ? options.fade_out_s : 0) + step_rise_s, options.rate_hz);
    bursts.push_back({s.hz, from, to});
    from = to;
  }
  std::vector<std::string> notes;
  const std::size_t left_out = step_bands(recipe).size() - steps.size();
  if (left_out > 0) {
    notes.push_back(fmt::format("{} tones above half of the sample rate {:g} Hz were left out", left_out,
                                options.rate_hz));
  }
  return std::make_unique<Stepped>(std::move(bursts), options.rate_hz, from, std::move(notes));
}

// --- left and right
// --------------------------------------------------------------------------------------------------

std::unique_ptr<Generator> make_left_right(const Recipe& recipe, const GeneratorOptions& options) {
  const double left_hz = recipe.number("left_hz");
  const double right_hz = recipe.number("right_hz");
  require_below_nyquist(recipe, std::max(left_hz, right_hz), options.rate_hz);
  const double burst = recipe.number("burst_seconds");
  const double gap = recipe.number("gap_seconds");
  const double pause = recipe.number("pause_seconds");
  const double cycle = 3 * burst + gap + 2 * pause;
  const double seconds = seconds_of(recipe, options);
  if (seconds < cycle) {
    throw bad_usage(fmt::format("signal {}: {:g} s is too short for left and right once; use {:g} s or more",
                                recipe.name, seconds, cycle));
  }
  const auto burst_at = [&](double hz, double from, bool right) {
    return Burst{hz, frames_of(from, options.rate_hz), frames_of(from + burst, options.rate_hz), right};
  };
  std::vector<Burst> bursts = {burst_at(left_hz, pause / 2, false),
                               burst_at(right_hz, pause * 1.5 + burst, true),
                               burst_at(right_hz, pause * 1.5 + 2 * burst + gap, true)};
  return std::make_unique<BurstsGenerator>(std::move(bursts), options.rate_hz, recipe.number("rise_seconds"),
                                           frames_of(seconds, options.rate_hz),
                                           frames_of(cycle, options.rate_hz), true);
}

// --- silence between markers
// -----------------------------------------------------------------------------------------

// One burst says that the silence begins, two that it has ended.
std::unique_ptr<Generator> make_marked_silence(const Recipe& recipe, const GeneratorOptions& options) {
  const double hz = recipe.number("marker_hz");
  require_below_nyquist(recipe, hz, options.rate_hz);
  const double seconds = seconds_of(recipe, options);
  const double burst = recipe.number("marker_seconds");
  const TimeSpan quiet = plan_quiet_span(recipe, options);
  const auto frame = [&](double t) { return frames_of(t, options.rate_hz); };
  std::vector<Burst> bursts = {{hz, 0, frame(quiet.from_s)},
                               {hz, frame(quiet.to_s), frame(quiet.to_s + burst)},
                               {hz, frame(seconds - burst), frame(seconds)}};
  const std::uint64_t frames = frame(seconds);
  return std::make_unique<BurstsGenerator>(std::move(bursts), options.rate_hz, recipe.number("rise_seconds"),
                                           frames, frames, false);
}

}  // namespace

std::vector<ToneStep> plan_tone_steps(const Recipe& recipe, const GeneratorOptions& options) {
  const double each = step_seconds(recipe, options, step_bands(recipe).size());
  std::vector<ToneStep> steps;
  double from = options.fade_in_s;
  for (const standards::ThirdOctave& b : fitting_bands(recipe, options.rate_hz)) {
    steps.push_back({b.midband_hz, from + step_rise_s, from + each - step_rise_s});
    from += each;
  }
  return steps;
}

TimeSpan plan_quiet_span(const Recipe& recipe, const GeneratorOptions& options) {
  const double seconds = seconds_of(recipe, options);
  const double burst = recipe.number("marker_seconds");
  const TimeSpan quiet{burst, seconds - 3 * burst};
  if (quiet.to_s - quiet.from_s < 0.1) {
    throw bad_usage(fmt::format("signal {}: {:g} s leaves no silence between the markers; use {:g} s or more",
                                recipe.name, seconds, 4 * burst + 0.1));
  }
  return quiet;
}

AudioKind stepped_tones_kind() {
  return {{"stepped-tones",
           Medium::Audio,
           "steady tones one after the other at the preferred third-octave frequencies",
           {frequency_parameter("lowest_hz", "first tone"), frequency_parameter("highest_hz", "last tone"),
            number_parameter("step_seconds", "s", "length of each tone", 5 * step_rise_s, 600, 1.0)}},
          make_stepped_tones};
}

AudioKind left_right_kind() {
  return {
      {"left-right",
       Medium::Audio,
       "one burst on the left channel, then two of another tone on the right",
       {frequency_parameter("left_hz", "tone on the left"),
        frequency_parameter("right_hz", "tone on the right"),
        number_parameter("burst_seconds", "s", "length of a burst", 0.1, 10, 0.5),
        number_parameter("gap_seconds", "s", "silence between the two bursts on the right", 0.05, 10, 0.25),
        number_parameter("pause_seconds", "s", "silence between left and right", 0.1, 10, 1.0),
        number_parameter("rise_seconds", "s", "rise and fall of each burst", 0.001, 0.05, 0.05),
        seconds_parameter(15.0, 0.1), no_fade("fade_in_seconds", "rise of the whole at the start"),
        no_fade("fade_out_seconds", "fall of the whole at the end")}},
      make_left_right};
}

AudioKind marked_silence_kind() {
  return {{"marked-silence",
           Medium::Audio,
           "silence with one quiet tone burst before it and two after it",
           {frequency_parameter("marker_hz", "tone of the markers"),
            number_parameter("marker_seconds", "s", "length of a marker burst", 0.05, 5, 0.2),
            number_parameter("rise_seconds", "s", "rise and fall of each burst", 0.001, 0.02, 0.02),
            seconds_parameter(15.0), no_fade("fade_in_seconds", "rise of the whole at the start"),
            no_fade("fade_out_seconds", "fall of the whole at the end")}},
          make_marked_silence};
}

}  // namespace linebench::signals
