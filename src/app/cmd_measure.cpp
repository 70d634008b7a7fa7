#include <fmt/format.h>

#include <cmath>
#include <filesystem>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/sent.hpp>
#include <memory>

#include "cmd_measure_picture.hpp"
#include "cmd_measure_video.hpp"
#include "commands.hpp"
#include "progress_line.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

// CLI11's own range check lets NaN pass.
void check_positive(const std::optional<double>& v, const char* option, double most, const char* unit) {
  if (v && !(*v > 0 && *v <= most)) {
    throw bad_usage(fmt::format("{}: give a number above 0 and up to {:g} {}", option, most, unit));
  }
}

Exit measure_audio_file(Context& context, MeasureOptions& o) {
  if (!o.signal.empty()) (void)audio_recipe(o.signal);
  const auto file = capture::open_audio_file(o.file);
  KnownSource source(*file);
  if (o.full_scale_v) source.edit_facts().full_scale_v = o.full_scale_v;
  if (!o.signal.empty()) source.edit_facts().signal = o.signal;

  measure::AudioOptions options;
  options.mains_hz = mains_hz(o.mains);
  const auto recipe = known_recipe(source.facts().signal);
  options.tone_hz = o.tone_hz ? o.tone_hz : recipe ? measure::tone_of(*recipe) : std::nullopt;
  options.signal = source.facts().signal;
  options.clock_error_ppm = source.facts().clock_error_ppm;

  report::Document document;
  document.command = "measure";
  {
    const ProgressLine line("measuring " + source.facts().source);
    document.readings = measure_traced(source, options, line.progress(), context.stop, o.show);
  }
  document.input = source.facts();
  refuse_part(context, o.file);
  std::optional<measure::Sent> sent;
  if (recipe) sent = measure::Sent{.name = recipe->name, .tone_hz = measure::tone_of(*recipe)};
  measure::add_signal_readings(document.readings, document.input, sent);
  judge_document(document, o.limits, recipe ? judge::asked_of(*recipe) : judge::Asked{});
  return show(context, document, o.show);
}

Exit measure_file(Context& context, MeasureOptions& o) {
  check_positive(o.full_scale_v, "--full-scale", 1000, "V");
  check_positive(o.tone_hz, "--tone", 100000, "Hz");
  check_limits(o.limits);
  check_job(o.show);
  o.show.file = o.file;
  if (!o.signal.empty()) (void)signals::load_recipe(o.signal);
  if (!o.show.html.empty()) check_page_path(o.show.html, o.file);
  // A pipe nobody writes into would be waited for without end.
  if (std::error_code ec; std::filesystem::exists(o.file, ec) && !std::filesystem::is_directory(o.file, ec))
    capture::refuse_unreadable_path(o.file);
  const bool frames = capture::looks_like_frames(o.file);
  const bool video = !frames && capture::looks_like_video_samples(o.file);
  if (o.view == "auto") o.view = frames ? "picture" : video ? "waveform" : "audio";
  if ((o.view == "audio" || o.view == "lowband") && video) {
    throw unusable(fmt::format(
        "{}: holds composite samples, not a sound card's; use --view waveform or leave --view out", o.file));
  }
  if (frames && o.view != "picture")
    throw unusable(fmt::format("{}: holds frames; use --view picture or leave --view out", o.file));
  check_view_options(o);
  if (o.view == "picture") return measure_picture_file(context, o);
  if (o.view == "waveform") return measure_waveform(context, o);
  if (o.view == "lowband") return measure_lowband_file(context, o);
  return measure_audio_file(context, o);
}

}  // namespace

void add_measure(CLI::App& app, Context& context) {
  auto o = std::make_shared<MeasureOptions>();
  CLI::App* c = app.add_subcommand("measure", "Readings and verdicts of a capture");
  c->add_option("FILE", o->file,
                "The capture: WAV, FLAC, W64, RF64 or AIFF; composite samples also .raw with its sidecar and "
                ".csv; frames as .yuv with its sidecar, a movie or numbered PNGs")
      ->required();
  c->add_option("--view", o->view, "What the capture holds")
      ->check(CLI::IsMember({"auto", "audio", "waveform", "lowband", "picture"}))
      ->capture_default_str();
  c->add_option("--mains", o->mains, "Mains frequency to look for hum at")
      ->check(CLI::IsMember({"50", "60", "auto"}))
      ->capture_default_str();
  c->add_option("--full-scale", o->full_scale_v, "Volts that a sample value of 1.0 stands for (peak)");
  c->add_option("--tone", o->tone_hz, "Frequency of the tone that was sent, Hz");
  c->add_option("--signal", o->signal, "Name of the test signal that was sent");
  add_show_options(*c, o->show, o->limits);
  add_video_measure_options(*c, *o);
  c->callback([&context, o, c] {
    note_video_options(*c, *o);
    context.action = [&context, o] { return measure_file(context, *o); };
  });
}

}  // namespace linebench::app
