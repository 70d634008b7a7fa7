#include "card.hpp"

#include <fmt/format.h>

#include <linebench/base/catalogue.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/measure/audio.hpp>
#include <vector>

#include "progress_line.hpp"
#include "sound.hpp"

namespace linebench::app {

std::optional<capture::Calibration> card_between(const capture::SoundDevice& to,
                                                 const capture::SoundDevice& from, double rate_hz) {
  auto calibration = calibration_of(from, rate_hz);
  if (!calibration || calibration->loop.empty() || calibration->loop_output != to.identity())
    return std::nullopt;
  return calibration;
}

Readings measure_return(AudioSource& sent, const std::filesystem::path& returned,
                        const std::optional<capture::Calibration>& card, const Context& context,
                        ShowOptions& show, CaptureFacts& facts) {
  (void)card;
  const auto source = capture::open_audio_file(returned);
  measure::AudioOptions options;
  options.signal = sent.facts().signal;
  options.clock_error_ppm = source->facts().clock_error_ppm;
  Readings readings;
  {
    const ProgressLine line("measuring the return");
    readings = measure_traced(*source, options, line.progress(), context.stop, show);
  }
  facts = source->facts();
  return readings;
}

}  // namespace linebench::app
