#include "cmd_measure_video.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/measure/lowband.hpp>
#include <linebench/measure/video.hpp>
#include <linebench/measure/video_traces.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/video_pictures.hpp>
#include <linebench/signals/picture_writer.hpp>
#include <linebench/standards/cable.hpp>

#include "progress_line.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

// Options that not every view has.
struct ViewOption {
  const char* name;
  bool audio, waveform, lowband;
};
constexpr ViewOption view_options[] = {
    {"--tone", true, false, false},  {"--system", false, true, true},
    {"--cable", false, true, false}, {"--velocity-factor", false, true, false},
    {"--pad", false, false, true},   {"--png", false, true, false},
    {"--line", false, true, false}};

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
  std::vector<std::string> cables;
  for (const standards::CableType& t : standards::cable_types()) cables.emplace_back(t.name);
  c.add_option("--cable", o.cable, "Waveform view: type of cable, for its equivalent length")
      ->check(CLI::IsMember(cables))
      ->capture_default_str()
      ->group(group);
  c.add_option("--velocity-factor", o.velocity_factor, "Of the cable, for distances to echoes [of the type]")
      ->group(group);
  c.add_option(
       "--png", o.png,
       "Waveform view: pictures of the signal (line, lines overlaid, chrominance, spectrum) to this file")
      ->group(group);
  c.add_option("--line", o.lines, "Waveform view: draw this line (standard's number); may be given again")
      ->check(CLI::Range(1, 625))
      ->group(group);
  c.add_option("--pad", o.pad,
               "Lowband view: ratio of the pad before the card, volts on the line over volts at the card")
      ->group(group);
}

void note_video_options(const CLI::App& c, MeasureOptions& o) {
  for (const ViewOption& v : view_options) {
    const CLI::Option* option = c.get_option_no_throw(v.name);
    if (option != nullptr && option->count() > 0) o.given.emplace_back(v.name);
  }
  const CLI::Option* velocity = c.get_option_no_throw("--velocity-factor");
  if (velocity == nullptr || velocity->count() == 0)
    o.velocity_factor = standards::find_cable_type(o.cable)->velocity_factor;
}

void check_view_options(const MeasureOptions& o) {
  for (const ViewOption& v : view_options) {
    const bool has = o.view == "audio"     ? v.audio
                     : o.view == "lowband" ? v.lowband
                                           : v.waveform;  // picture as waveform
    if (has || std::find(o.given.begin(), o.given.end(), v.name) == o.given.end()) continue;
    throw bad_usage(fmt::format("{}: the {} view has no such option; leave it out or give another --view",
                                v.name, o.view));
  }
  if (o.pad && !(*o.pad >= 1 && *o.pad <= 1000)) {
    throw bad_usage("--pad: give the pad's ratio, volts on the line over volts at the card, from 1 to 1000");
  }
  if (!(o.velocity_factor > 0.3 && o.velocity_factor <= 1)) {
    throw bad_usage("--velocity-factor: give a number from 0.3 to 1, such as 0.66 for solid polyethylene");
  }
}

Exit measure_waveform(Context& context, MeasureOptions& o) {
  if (!o.png.empty() && !o.png.ends_with(".png"))
    throw bad_usage(fmt::format("--png {}: name a file that ends in .png", o.png));
  const auto file = capture::open_video_samples(o.file, {o.full_scale_v});
  measure::VideoOptions options;
  options.system = system_choice(o.system);
  options.mains_hz = mains_hz(o.mains);
  options.velocity_factor = o.velocity_factor;
  options.cable = o.cable;

  report::Document document;
  document.command = "measure";
  {
    const ProgressLine line("measuring " + file->facts().source);
    measure::VideoTraces traces;
    for (const int n : o.lines) traces.chosen.push_back({n, {}, {}});
    const bool pictures = !o.png.empty() || !o.show.html.empty();
    document.readings =
        measure::measure_video(*file, options, line.progress(), &context.stop, pictures ? &traces : nullptr);
    if (pictures) o.show.video = std::move(traces);
  }
  document.input = file->facts();
  if (!o.signal.empty()) document.input.signal = o.signal;
  refuse_part(context, o.file);
  judge_document(document, o.limits);
  if (!o.png.empty()) {
    signals::write_drawing(o.png, report::draw_video(document, *o.show.video));
    say("pictures written to {}\n", report::printable(o.png));
  }
  return show(context, document, o.show);
}

Exit measure_lowband_file(Context& context, MeasureOptions& o) {
  const auto file = capture::open_audio_file(o.file);
  KnownSource source(*file);
  CaptureFacts& facts = source.edit_facts();
  if (o.full_scale_v) facts.full_scale_v = o.full_scale_v;
  if (o.pad) {
    if (facts.full_scale_v) *facts.full_scale_v *= *o.pad;
    facts.notes.push_back(fmt::format("pad of {:g} to 1 before the card taken in", *o.pad));
  }
  if (!o.signal.empty()) facts.signal = o.signal;
  measure::LowbandOptions options;
  options.system = system_choice(o.system);
  options.mains_hz = mains_hz(o.mains);

  report::Document document;
  document.command = "measure";
  {
    const ProgressLine line("measuring " + facts.source);
    document.readings = measure::measure_lowband(source, options, line.progress(), &context.stop);
  }
  document.input = source.facts();
  refuse_part(context, o.file);
  judge_document(document, o.limits);
  return show(context, document, o.show);
}

}  // namespace linebench::app
