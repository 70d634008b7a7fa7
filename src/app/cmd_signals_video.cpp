#include "cmd_signals_video.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <linebench/base/facts.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/signals/picture_writer.hpp>
#include <linebench/signals/video_encoder.hpp>
#include <linebench/signals/video_files.hpp>
#include <linebench/signals/video_frame.hpp>
#include <linebench/signals/video_recipe.hpp>
#include <nlohmann/json.hpp>
#include <span>

#include "progress_line.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using standards::VideoStandard;

constexpr const char* group = "Test pictures";

// Options of `signals write` that one medium has and the other has not.
constexpr const char* audio_only[] = {"--level", "--full-scale", "--channels", "--bits"};
constexpr const char* video_only[] = {"--system", "--frames", "--fields",    "--samples",
                                      "--4fsc",   "--sc-h",   "--bandwidth", "--rows"};

// Longest file in one go: an hour.
constexpr double longest_s = 3600;

const VideoStandard& standard_of(const VideoSignalOptions& o) {
  if (const VideoStandard* s = standards::find_video_standard(o.system)) return *s;
  throw bad_usage(fmt::format("--system {}: use 525, 525-no-setup, 625 or 625-i", o.system));
}

double seconds_of(const signals::Recipe& recipe, const VideoSignalOptions& o, const VideoStandard& s) {
  double seconds = signals::picture_seconds(recipe);
  if (o.seconds) seconds = *o.seconds;
  if (o.frames) seconds = static_cast<double>(*o.frames) / s.frame_rate_hz();
  if (o.fields) seconds = static_cast<double>(*o.fields) / s.field_rate_hz();
  if (!(seconds > 0 && seconds <= longest_s)) {
    throw bad_usage(fmt::format("a length of {:g} s: give more than 0 and up to an hour", seconds));
  }
  return seconds;
}

std::int64_t frames_of(const signals::Recipe& recipe, const VideoSignalOptions& o, const VideoStandard& s) {
  return std::max<std::int64_t>(1, std::llround(seconds_of(recipe, o, s) * s.frame_rate_hz()));
}

signals::PictureFrames frames_for(const signals::Recipe& recipe, const VideoSignalOptions& o) {
  const VideoStandard& s = signals::frame_standard(standard_of(o));
  const int rows = o.rows != 0 ? o.rows : s.active_rows;
  return {signals::describe(signals::picture_spec(recipe), s), s, rows};
}

Exit done(const Context& context, const std::string& out, bool interrupted, const json& facts,
          const std::string& words) {
  if (context.json) {
    const json j = {{"schema", "linebench/1"}, {"command", "signals write"}, {"output", facts}};
    print("{}\n", json_text(j, 2));
  } else {
    print("{}: {}\n", out, words);
  }
  if (interrupted) say("linebench: {}: interrupted; what was written by then is whole\n", out);
  return interrupted ? Exit::Interrupted : Exit::Ok;
}

Exit write_samples(const Context& context, const signals::Recipe& recipe, const VideoSignalOptions& o,
                   const std::string& out) {
  const VideoStandard& s = standard_of(o);
  signals::EncoderOptions e;
  e.system = s.system;
  const double rate =
      o.four_fsc ? 4 * s.subcarrier_hz.value() : o.rate_hz.value_or(signals::picture_sample_rate_hz(recipe));
  e.sample_rate_hz = signals::exact_sample_rate(rate, s);
  e.colour = e.sample_rate_hz.value() >= signals::lowest_composite_rate_hz;
  e.sc_h_deg = o.sc_h_deg;
  e.bandwidth_hz = o.bandwidth_hz.value_or(0);
  signals::CompositeEncoder encoder(signals::describe(signals::picture_spec(recipe), s), e);
  const double seconds = seconds_of(recipe, o, s);
  const auto samples = static_cast<std::uint64_t>(std::llround(seconds * encoder.sample_rate_hz()));
  signals::CompositeFile file;
  {
    const ProgressLine line("writing " + out);
    file = signals::write_composite(out, encoder, samples, signals::raw_format(o.format), line.progress(),
                                    &context.stop);
  }
  CaptureFacts facts;
  facts.source = out;
  facts.kind = "composite samples";
  facts.format = file.format;
  facts.sample_rate_hz = file.sample_rate_hz;
  facts.channels = 1;
  facts.frames = file.samples;
  if (file.full_scale_v > 0) facts.full_scale_v = file.full_scale_v;
  facts.signal = recipe.name;
  facts.interrupted = file.interrupted;
  // At a sound card's rate it is read as a recording, whose volts stand in its facts.
  constexpr double recordings_end_hz = 1e6;
  if (file.sample_rate_hz < recordings_end_hz && file.full_scale_v > 0)
    capture::store_text(capture::facts_path(out), json_text(facts_to_json(facts), 2) + "\n");
  std::string scale = file.full_scale_v > 0 ? fmt::format(", full scale = {:g} V", file.full_scale_v) : "";
  if (!e.colour) scale += ", without colour at this rate";
  return done(context, out, file.interrupted, facts_to_json(facts),
              fmt::format("{}, {}, {:.3f} s at {:.6f} MS/s, {}{}", recipe.title, s.label, facts.duration_s(),
                          file.sample_rate_hz / 1e6, file.format, scale));
}

Exit write_frames(const Context& context, const signals::Recipe& recipe, const VideoSignalOptions& o,
                  const std::string& out, const std::string& ending) {
  signals::PictureFrames frames = frames_for(recipe, o);
  const VideoStandard& s = frames.standard();
  const std::int64_t asked = ending == ".png" ? 1 : frames_of(recipe, o, s);
  std::int64_t written = 1;
  const int height = frames.at(0).height;
  if (ending == ".png") {
    signals::write_png(out, frames.at(0));
  } else if (ending == ".avi") {
    const ProgressLine line("writing " + out);
    written = signals::write_avi(
        out, [&](std::int64_t n) { return frames.at(n); }, asked, s.frame_rate_hz(), line.progress(),
        &context.stop);
  } else {
    written = signals::write_yuv(out, signals::describe(signals::picture_spec(recipe), s), s, height, asked,
                                 &context.stop);
  }
  const json facts = {{"source", out},         {"kind", "frames"},
                      {"width", 720},          {"height", height},
                      {"frames", written},     {"frame_rate", s.frame_rate_hz()},
                      {"signal", recipe.name}, {"field_order", s.is_525() ? "bottom" : "top"}};
  return done(context, out, written < asked, facts,
              fmt::format("{}, {}, 720 x {}, {} frame{}", recipe.title,
                          s.is_525() ? "525 lines" : "625 lines", height, written, written == 1 ? "" : "s"));
}

}  // namespace

void add_system_option(CLI::App& c, VideoSignalOptions& o) {
  c.add_option("--system", o.system, "Lines and setup")
      ->check(CLI::IsMember({"525", "525-no-setup", "625", "625-i"}))
      ->capture_default_str()
      ->group(group);
}

void add_video_signal_options(CLI::App& c, VideoSignalOptions& o) {
  add_system_option(c, o);
  c.add_option("--frames", o.frames, "Length in frames")->check(CLI::PositiveNumber)->group(group);
  c.add_option("--fields", o.fields, "Length in fields")->check(CLI::PositiveNumber)->group(group);
  c.add_option("--samples", o.format, "Sample format of .raw")
      ->check(CLI::IsMember({"s16le", "f32le", "u8"}))
      ->capture_default_str()
      ->group(group);
  c.add_flag("--4fsc", o.four_fsc, "Sample at four times the subcarrier")->group(group);
  c.add_option("--sc-h", o.sc_h_deg, "Subcarrier-to-sync phase, degrees")
      ->check(CLI::Range(-180, 360))
      ->group(group);
  c.add_option("--bandwidth", o.bandwidth_hz, "Bandwidth, Hz (default: 6 MHz, less at low rates)")
      ->check(CLI::PositiveNumber)
      ->group(group);
  c.add_option("--rows", o.rows, "Rows of a 525 line frame")
      ->check(CLI::IsMember({480, 486, 576}))
      ->group(group);
}

void note_given(const CLI::App& c, VideoSignalOptions& o) {
  const auto note = [&](const char* name) {
    const CLI::Option* option = c.get_option_no_throw(name);
    if (option != nullptr && option->count() > 0) o.given.emplace_back(name);
  };
  for (const char* name : audio_only) note(name);
  for (const char* name : video_only) note(name);
}

void check_video_options(const signals::Recipe& recipe, const VideoSignalOptions& o) {
  const bool video = recipe.kind->medium == signals::Medium::Video;
  const std::span<const char* const> strange =
      video ? std::span<const char* const>(audio_only) : std::span<const char* const>(video_only);
  for (const std::string& name : o.given) {
    if (std::find(strange.begin(), strange.end(), name) == strange.end()) continue;
    throw bad_usage(fmt::format("{}: {} is {}, which has no such option; leave it out", name, recipe.name,
                                video ? "a test picture" : "an audio signal"));
  }
}

Exit write_video_signal(const Context& context, const signals::Recipe& recipe, const VideoSignalOptions& o,
                        const std::string& out) {
  const std::string ending = fs::path(out).extension().string();
  if (ending == ".png" || ending == ".avi" || ending == ".yuv")
    return write_frames(context, recipe, o, out, ending);
  return write_samples(context, recipe, o, out);
}

Exit show_picture(const Context& context, const signals::Recipe& recipe, const VideoSignalOptions& o,
                  double border_percent) {
  signals::PictureFrames frames = frames_for(recipe, o);
  signals::ScreenOptions screen{.border = border_percent / 100};
  if (o.seconds) screen.frames = frames_of(recipe, o, frames.standard());
  const auto source = [&](std::int64_t n) {
    if (n == 0) say("{}: on the screen; any key ends\n", recipe.title);
    return frames.at(n);
  };
  const std::int64_t shown =
      signals::show_frames(recipe.title, source, frames.standard().frame_rate_hz(), screen, &context.stop);
  if (context.json) {
    const json j = {{"schema", "linebench/1"},
                    {"command", "signals show"},
                    {"shown", {{"signal", recipe.name}, {"frames", shown}, {"border", border_percent}}}};
    print("{}\n", json_text(j, 2));
  }
  return context.stop ? Exit::Interrupted : Exit::Ok;
}

}  // namespace linebench::app
