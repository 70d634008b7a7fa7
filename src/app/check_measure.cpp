#include "check_measure.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/catalogue.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/check/picture_soak.hpp>
#include <linebench/job/store.hpp>
#include <linebench/measure/sent.hpp>
#include <linebench/signals/audio_signal.hpp>

#include "card.hpp"
#include "measure_any.hpp"
#include "measure_frames.hpp"
#include "progress_line.hpp"
#include "show.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;
using check::CaptureWish;

struct Measured {
  report::Document document;
  std::string view;
  std::string limits;
  judge::Asked asked;
};

// A recorder that was stopped first is no fault of the path, and what did not come in is no good path either.
void refuse_cut_short(const signals::Recipe& recipe, const fs::path& file, const Measured& m) {
  constexpr double least_missing_s = 0.1;
  if (recipe.kind->name != "sweep" || !recipe.has("seconds")) return;
  for (const char* id : {"audio.response.delay", "audio.response.delay.left", "audio.response.delay.right"}) {
    const Reading* delay = find_reading(m.document.readings, id);
    if (delay == nullptr || !delay->measured()) continue;
    const double missing = delay->number() + recipe.number("seconds") - m.document.input.duration_s();
    if (missing > least_missing_s)
      throw unusable(
          fmt::format("{}: the recording ends {:.1f} s before the sweep does; take it in again and "
                      "record until it is over",
                      file.string(), missing));
  }
}

void measure_sent(const signals::Recipe& recipe, const fs::path& file, const Context& context, Measured& m) {
  const auto returned = capture::open_audio_file(file);
  const auto again = [&] {
    signals::AudioSignalOptions options;
    options.sample_rate_hz = returned->facts().sample_rate_hz;
    return signals::make_audio_signal(recipe, options);
  };
  ShowOptions plain;
  m.document.readings = measure_return({again, recipe}, file, std::nullopt, context, plain, m.document.input);
  refuse_cut_short(recipe, file, m);
  m.document.input.signal = recipe.name;
  m.asked = judge::asked_of(recipe);
}

// What is told of quiet: nothing can be where nothing is plugged in.
bool told_in_quiet(const std::string& id) {
  for (const char* of :
       {"audio.hum", "audio.noise", "audio.whistle", "audio.whine", "audio.phone_burst", "audio.level.dc"}) {
    if (id.starts_with(of)) return true;
  }
  return false;
}

// A converter with anything on it has noise: a channel of zeros alone is one that nothing came to, and its
// silence must not pass for the quiet of what was to be measured.
void refuse_dead_channels(Readings& readings, int channels) {
  for (int c = 0; c < channels; ++c) {
    const std::string suffix = channel_suffix(c, channels);
    const Reading* peak = find_reading(readings, "audio.level.peak" + suffix);
    if (peak == nullptr || peak->measured()) continue;
    for (Reading& r : readings) {
      if (!r.id.ends_with(suffix) || !told_in_quiet(r.id)) continue;
      r = unmeasurable(r.id,
                       "all samples are zero: nothing is plugged in, the input is muted, or another input is "
                       "chosen; plug it in, raise the input's level, and take it in again");
    }
  }
}

Measured measure_sound(const CaptureWish& wish, const fs::path& file, const Context& context) {
  Measured m{.document = {}, .view = "audio", .limits = wish.limits, .asked = {}};
  const auto recipe = known_recipe(wish.signal);
  if (recipe && measure::shows_response(*recipe)) {
    measure_sent(*recipe, file, context, m);
  } else {
    AnyOptions options;
    options.signal = wish.signal;
    options.full_scale_v = wish.full_scale_v;
    auto captures = measure_any(file.string(), options, context);
    if (captures.size() != 1)
      throw unusable(fmt::format("{}: holds {} captures; give one", file.string(), captures.size()));
    m.document.input = captures.front().facts;
    m.document.readings = std::move(captures.front().readings);
    if (recipe) m.asked = judge::asked_of(*recipe);
  }
  std::optional<measure::Sent> sent;
  if (recipe) {
    // A guided job asks for the signal at its own level, whoever sends it.
    signals::AudioSignalOptions as_written;
    as_written.sample_rate_hz = std::max(m.document.input.sample_rate_hz, 8000.0);
    sent = measure::Sent{.name = recipe->name,
                         .level_dbfs = signals::signal_level_dbfs(*recipe, as_written),
                         .tone_hz = measure::tone_of(*recipe),
                         .response = measure::shows_response(*recipe),
                         .swept = recipe->kind->name == "sweep"};
    m.asked.level_known = true;
  }
  if (find_reading(m.document.readings, "audio.signal") == nullptr &&
      find_reading(m.document.readings, "audio.signal.left") == nullptr)
    measure::add_signal_readings(m.document.readings, m.document.input, sent);
  m.asked.idle = wish.idle && m.document.input.signal.empty();
  refuse_dead_channels(m.document.readings, m.document.input.channels);
  return m;
}

Measured measure_soak(const CaptureWish& wish, const fs::path& file, const Context& context) {
  Measured m{.document = {}, .view = "audio", .limits = wish.limits, .asked = {}};
  const auto source = capture::open_audio_file(file);
  const CaptureFacts& facts = source->facts();
  check::Soak soak(facts.sample_rate_hz, facts.channels, soak_options(wish));
  std::vector<float> block(static_cast<std::size_t>(8192 * facts.channels));
  const ProgressLine line("measuring " + facts.source);
  const Progress progress = line.progress();
  std::uint64_t done = 0;
  for (std::size_t n = source->read(block); n > 0 && !context.stop; n = source->read(block)) {
    soak.push(std::span<const float>(block).first(n * static_cast<std::size_t>(facts.channels)));
    done += n;
    if (progress && facts.frames > 0)
      progress(static_cast<double>(done) / static_cast<double>(facts.frames), "");
  }
  m.document.readings = soak.finish();
  m.document.input = facts;
  m.document.input.frames = done;
  return m;
}

Measured measure_picture_soak(const CaptureWish& wish, const fs::path& file, const Context& context) {
  Measured m{.document = {}, .view = "picture", .limits = wish.limits, .asked = {}};
  if (!capture::looks_like_frames(file))
    throw unusable(
        fmt::format("{}: a long run of a picture is read from a grabber's frames; give a .yuv or a movie",
                    file.string()));
  const auto source = capture::open_frames(file);
  const CaptureFacts facts = source->facts();
  const double rate = source->format().frame_rate_hz;
  check::PictureSoak soak(source->format());
  const ProgressLine line("measuring " + facts.source);
  const Progress progress = line.progress();
  capture::Frame frame;
  std::uint64_t done = 0, first = 0;
  while (!context.stop && source->read(frame)) {
    if (done == 0) first = frame.number;
    soak.push(frame, static_cast<double>(frame.number - first) / rate);
    ++done;
    if (progress && facts.frames > 0)
      progress(static_cast<double>(done) / static_cast<double>(facts.frames), "");
  }
  m.document.readings = soak.finish();
  m.document.input = source->facts();
  m.document.input.frames = done;
  return m;
}

job::Capture judged(Measured m, const CaptureWish& wish) {
  m.asked.programme_dbfs = wish.programme_dbfs;
  judge_document(m.document, m.limits, m.asked);
  job::Capture c;
  c.label = wish.label;
  if (!wish.path.empty()) c.path = wish.path;
  c.view = m.view;
  c.facts = m.document.input;
  c.verdict = m.document.verdict;
  c.limit_set = m.document.limit_set;
  c.missing = m.document.missing;
  c.readings = std::move(m.document.readings);
  return c;
}

Measured measure_frames(const CaptureWish& wish, const fs::path& file, const Context& context) {
  Measured m{.document = {}, .view = "picture", .limits = "picture", .asked = {}};
  measure::PictureOptions options;
  options.setup = wish.system != "525-no-setup";
  MeasuredFrames frames = measure_frames_raw(file.string(), "", context, options);
  take_out_known_grabber(frames.facts, frames.lines, frames.readings);
  m.document.input = std::move(frames.facts);
  m.document.readings = std::move(frames.readings);
  return m;
}

Measured measure_composite(const CaptureWish& wish, const fs::path& file, const Context& context) {
  Measured m{.document = {}, .view = "waveform", .limits = "composite-" + wish.system, .asked = {}};
  // The system is left to be found: the wrong one is a finding.
  auto captures = measure_any(file.string(), {}, context);
  m.document.input = captures.front().facts;
  m.document.readings = std::move(captures.front().readings);
  return m;
}

}  // namespace

job::Capture measure_for(const CaptureWish& wish, const fs::path& file, const Context& context) {
  std::error_code ec;
  if (!fs::exists(file, ec))
    throw unusable(fmt::format("{}: there is no such file; check the name", file.string()));
  if (fs::is_directory(file, ec))
    throw unusable(
        fmt::format("{}: is a folder; give the file, of numbered stills the first", file.string()));
  const bool frames = capture::looks_like_frames(file);
  const bool composite = !frames && capture::looks_like_video_samples(file);
  if (wish.view == CaptureWish::View::Audio && (frames || composite))
    throw unusable(fmt::format("{}: holds {}, and sound is wanted here", file.string(),
                               frames ? "frames" : "composite samples"));
  const bool document = file.extension() == ".json";
  if (wish.view == CaptureWish::View::Video && !frames && !composite && !document)
    throw unusable(fmt::format("{}: holds sound, and video is wanted here", file.string()));
  if ((wish.video_as == "waveform" && frames) || (wish.video_as == "frames" && composite))
    throw unusable(fmt::format(
        "{}: holds {}, and {} here: what was taken in before hides what these show", file.string(),
        frames ? "a grabber's frames" : "composite samples",
        frames ? "a digitiser's or oscilloscope's samples are wanted" : "a grabber's frames are wanted"));
  const bool sound = wish.view == CaptureWish::View::Audio;
  Measured m = wish.soak && sound ? measure_soak(wish, file, context)
               : wish.soak        ? measure_picture_soak(wish, file, context)
               : sound            ? measure_sound(wish, file, context)
               : frames           ? measure_frames(wish, file, context)
                                  : measure_composite(wish, file, context);
  // A long run keeps what it has seen, and its facts say how much that is; any other measurement is whole or
  // none.
  if (!wish.soak) refuse_part(context, file.string());
  if (!wish.only.empty()) {
    std::erase_if(m.document.readings, [&](const Reading& r) {
      return std::none_of(wish.only.begin(), wish.only.end(),
                          [&](const std::string& id) { return r.id == id || r.id.starts_with(id + "."); });
    });
    m.asked.only = wish.only;
    // What is taken in for some readings alone is no line-up: where a tone stands in it, no level is right.
    m.asked.designed.emplace_back("audio.tone");
  }
  job::Capture c = judged(std::move(m), wish);
  c.file = fs::absolute(file, ec).lexically_normal();
  c.sha256 = job::sha256_of(file);
  c.bytes = fs::file_size(file, ec);
  return c;
}

check::SoakOptions soak_options(const CaptureWish& wish) {
  const auto recipe = known_recipe(wish.signal);
  check::SoakOptions options;
  options.signal = wish.signal;
  if (recipe) options.tone_hz = measure::tone_of(*recipe);
  return options;
}

job::Capture soaked(const CaptureWish& wish, const char* view, const CaptureFacts& facts, Readings readings) {
  Measured m{.document = {}, .view = view, .limits = wish.limits, .asked = {}};
  m.document.input = facts;
  m.document.readings = std::move(readings);
  return judged(std::move(m), wish);
}

}  // namespace linebench::app
