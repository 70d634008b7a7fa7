#include "measure_any.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <linebench/capture/audio_file.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/check/profile.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/lowband.hpp>
#include <linebench/measure/video.hpp>

#include "measure_frames.hpp"
#include "progress_line.hpp"
#include "say.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

std::vector<diagnose::Capture> read_document(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  const std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  if (!in) throw unusable(fmt::format("{}: cannot be read; check the path and its permissions", file));
  return diagnose::captures_from_json(text, fs::path(file).filename().string());
}

diagnose::Capture measure_composite(const std::string& file, const AnyOptions& o, const Context& context) {
  const auto source = capture::open_video_samples(file, {o.full_scale_v});
  measure::VideoOptions options;
  options.mains_hz = mains_hz(o.mains);
  // The system is left to be found: what the site expects is what the finding is held against.
  const ProgressLine line("measuring " + source->facts().source);
  diagnose::Capture c;
  c.readings = measure::measure_video(*source, options, line.progress(), &context.stop);
  c.facts = source->facts();
  if (!o.signal.empty()) c.facts.signal = o.signal;
  return c;
}

diagnose::Capture measure_pictures(const std::string& file, const AnyOptions& o, const Context& context) {
  measure::PictureOptions options;
  options.mains_hz = mains_hz(o.mains);
  MeasuredFrames m = measure_frames_raw(file, o.signal, context, options);
  take_out_known_grabber(m.facts, m.lines, m.readings);
  diagnose::Capture c;
  c.readings = std::move(m.readings);
  c.facts = std::move(m.facts);
  return c;
}

// Whether a sound card's recording holds a composite signal.
bool is_lowband(const std::string& file, const CaptureFacts& facts, const AnyOptions& o) {
  return std::find(o.lowband.begin(), o.lowband.end(), file) != o.lowband.end() ||
         facts.signal.starts_with("video-");
}

// A sound card's recording of what is no sound: the line rate rules it, as it never does what is picked up.
bool line_rate_rules(const Readings& readings) {
  constexpr double rules_db = 12;
  const Reading* whistle = find_reading(readings, "audio.whistle.level");
  const Reading* rms = find_reading(readings, "audio.level.rms");
  return whistle != nullptr && rms != nullptr && whistle->measured() && rms->measured() &&
         whistle->number() > rms->number() - rules_db;
}

diagnose::Capture measure_sound(const std::string& file, const AnyOptions& o, const Context& context) {
  const auto opened = capture::open_audio_file(file);
  KnownSource source(*opened);
  CaptureFacts& facts = source.edit_facts();
  if (o.full_scale_v) facts.full_scale_v = o.full_scale_v;
  if (!o.signal.empty()) facts.signal = o.signal;
  const ProgressLine line("measuring " + facts.source);
  diagnose::Capture c;
  if (is_lowband(file, facts, o)) {
    if (o.pad && facts.full_scale_v) *facts.full_scale_v *= *o.pad;
    measure::LowbandOptions options;
    options.mains_hz = mains_hz(o.mains);
    options.clock_error_ppm = facts.clock_error_ppm;
    c.readings = measure::measure_lowband(source, options, line.progress(), &context.stop);
  } else {
    measure::AudioOptions options;
    options.mains_hz = mains_hz(o.mains);
    options.signal = facts.signal;
    options.clock_error_ppm = facts.clock_error_ppm;
    c.readings = measure::measure_audio(source, options, line.progress(), &context.stop);
  }
  c.facts = source.facts();
  if (c.facts.signal.empty() && line_rate_rules(c.readings)) {
    AnyOptions as_video = o;
    as_video.lowband.push_back(file);
    diagnose::Capture video = measure_sound(file, as_video, context);
    const Reading* signal = find_reading(video.readings, "video.signal");
    if (signal != nullptr && signal->measured() && signal->text() == "present") {
      say("{}: holds a composite signal and is measured as one, as by --lowband\n", file);
      return video;
    }
  }
  return c;
}

}  // namespace

std::string site_system(const AnyOptions& o) {
  if (!o.system.empty()) return o.system;
  const auto profile = check::load_profile();
  return profile ? profile->system : std::string();
}

diagnose::Site site_of(const AnyOptions& o) { return {site_system(o), o.sides}; }

void add_any_options(CLI::App& c, AnyOptions& o) {
  c.add_option("--mains", o.mains, "Mains frequency to look for hum at")
      ->check(CLI::IsMember({"50", "60", "auto"}))
      ->capture_default_str();
  c.add_option(
       "--system", o.system,
       "What the site's video is meant to be; other scanning or setup is then a finding. Without it as "
       "`linebench profile` was set, if it was")
      ->check(CLI::IsMember({"525", "525-no-setup", "625"}));
  c.add_option(
       "--sides", o.sides,
       "Whether one side or two are meant to carry the sound of captures of two channels; without it one "
       "silent side and a mono programme are no finding")
      ->check(CLI::IsMember({"one", "two"}));
  c.add_option("--signal", o.signal, "Name of the test signal that was sent (audio files)");
  c.add_option("--pad", o.pad,
               "Ratio of the pad before the card where it took in video, as for measure --view lowband");
  c.add_option("--full-scale", o.full_scale_v, "Volts that a sample value of 1.0 stands for (peak)");
}

std::vector<diagnose::Capture> measure_any(const std::string& file, const AnyOptions& o,
                                           const Context& context) {
  if (o.full_scale_v && !(*o.full_scale_v > 0 && *o.full_scale_v <= 1000))
    throw bad_usage("--full-scale: give a number above 0 and up to 1000 V");
  // A pipe would be waited on for ever.
  std::error_code ec;
  const bool folder = fs::is_directory(file, ec);
  if (fs::exists(file, ec) && !fs::is_regular_file(file, ec) && !folder)
    capture::refuse_unreadable_path(file);
  if (folder && !capture::looks_like_frames(file))
    throw unusable(fmt::format("{}: is a folder without stills; give the captures in it, such as {}", file,
                               (fs::path(file) / "*.wav").string()));
  if (fs::path(file).extension() == ".json") return read_document(file);
  if (o.pad && !(*o.pad >= 1 && *o.pad <= 1000))
    throw bad_usage("--pad: give the pad's ratio, volts on the line over volts at the card, from 1 to 1000");
  diagnose::Capture c = capture::looks_like_frames(file)          ? measure_pictures(file, o, context)
                        : capture::looks_like_video_samples(file) ? measure_composite(file, o, context)
                                                                  : measure_sound(file, o, context);
  c.name = fs::path(file).filename().string();
  return {std::move(c)};
}

}  // namespace linebench::app
