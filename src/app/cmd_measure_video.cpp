#include "cmd_measure_video.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/capture/video_samples.hpp>
#include <linebench/measure/video.hpp>

#include "progress_line.hpp"

namespace linebench::app {
namespace {

constexpr const char* audio_only[] = {"--tone"};
constexpr const char* video_only[] = {"--system", "--velocity-factor"};

measure::SystemChoice system_choice(const std::string& name) {
  if (name == "525") return measure::SystemChoice::S525;
  if (name == "525-no-setup") return measure::SystemChoice::S525NoSetup;
  if (name == "625") return measure::SystemChoice::S625;
  return measure::SystemChoice::Auto;
}

}  // namespace

void add_video_measure_options(CLI::App& c, MeasureOptions& o) {
  const char* group = "Composite video";
  c.add_option("--system", o.system, "Lines and setup")
      ->check(CLI::IsMember({"525", "525-no-setup", "625", "auto"}))
      ->capture_default_str()
      ->group(group);
  c.add_option("--velocity-factor", o.velocity_factor, "Of the cable, for distances to echoes")
      ->capture_default_str()
      ->group(group);
}

void note_video_options(const CLI::App& c, MeasureOptions& o) {
  const auto note = [&](const char* name) {
    const CLI::Option* option = c.get_option_no_throw(name);
    if (option != nullptr && option->count() > 0) o.given.emplace_back(name);
  };
  for (const char* name : audio_only) note(name);
  for (const char* name : video_only) note(name);
}

void check_view_options(const MeasureOptions& o) {
  const bool audio = o.view == "audio";
  for (const std::string& name : o.given) {
    const bool strange =
        audio ? std::find(std::begin(video_only), std::end(video_only), name) != std::end(video_only)
              : std::find(std::begin(audio_only), std::end(audio_only), name) != std::end(audio_only);
    if (strange) {
      throw bad_usage(fmt::format("{}: the {} view has no such option; leave it out or give another --view",
                                  name, o.view));
    }
  }
  if (!(o.velocity_factor > 0.3 && o.velocity_factor <= 1)) {
    throw bad_usage("--velocity-factor: give a number from 0.3 to 1, such as 0.66 for solid polyethylene");
  }
}

Exit measure_waveform(Context& context, MeasureOptions& o) {
  const auto file = capture::open_video_samples(o.file, {o.full_scale_v});
  measure::VideoOptions options;
  options.system = system_choice(o.system);
  if (o.mains == "50") options.mains_hz = 50;
  if (o.mains == "60") options.mains_hz = 60;
  options.velocity_factor = o.velocity_factor;

  report::Document document;
  document.command = "measure";
  {
    const ProgressLine line("measuring " + file->facts().source);
    document.readings = measure::measure_video(*file, options, line.progress(), &context.stop);
  }
  document.input = file->facts();
  if (!o.signal.empty()) document.input.signal = o.signal;
  if (context.stop) document.input.interrupted = true;
  judge_document(document, o.limits);
  return show(context, document, o.show);
}

}  // namespace linebench::app
