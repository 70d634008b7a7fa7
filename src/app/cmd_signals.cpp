// signals list, show, write: the test signals, what is in them, and files of them.
#include <fmt/format.h>

#include <filesystem>
#include <linebench/base/draft.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/report/format.hpp>
#include <linebench/signals/audio_signal.hpp>
#include <linebench/signals/level.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "cmd_signals_video.hpp"
#include "commands.hpp"
#include "progress_line.hpp"
#include "say.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;
using signals::Medium;
using signals::Recipe;

void print_json(const json& j) { print_text(json_text(j, 2) + "\n"); }

json document_of(const std::string& command) { return {{"schema", "linebench/1"}, {"command", command}}; }

/// Length in seconds; none where the medium has no length of its own.
std::optional<double> length_of(const Recipe& recipe) {
  if (recipe.kind->medium != Medium::Audio) return std::nullopt;
  return signals::signal_seconds(recipe);
}

std::optional<double> level_of(const Recipe& recipe) {
  if (recipe.kind->medium != Medium::Audio) return std::nullopt;
  return signals::signal_level_dbfs(recipe);
}

json recipe_json(const Recipe& recipe) {
  json j = {
      {"name", recipe.name},         {"title", recipe.title},
      {"purpose", recipe.purpose},   {"source", recipe.source},
      {"kind", recipe.kind->name},   {"medium", recipe.kind->medium == Medium::Audio ? "audio" : "video"},
      {"file", recipe.path.string()}};
  if (const auto s = length_of(recipe)) j["seconds"] = *s;
  if (const auto l = level_of(recipe)) j["level_dbfs"] = *l;
  return j;
}

// --- list
// ------------------------------------------------------------------------------------------------------------

/// A recipe may read well and still ask for what cannot be made (a tone above half the sample rate): it is
/// named with the reason, and the others are listed.
signals::RecipeList good_recipes() {
  signals::RecipeList list = signals::list_recipes();
  std::erase_if(list.recipes, [&](const Recipe& r) {
    try {
      (void)length_of(r);
      (void)level_of(r);
      return false;
    } catch (const Error& e) {
      list.problems.push_back(fmt::format("recipe {}: {}", r.path.string(), e.what()));
      return true;
    }
  });
  return list;
}

Exit list_signals(const Context& context) {
  const signals::RecipeList list = good_recipes();
  for (const std::string& p : list.problems) say("linebench: {}\n", report::printable(p));
  if (context.json) {
    json j = document_of("signals list");
    j["signals"] = json::array();
    for (const Recipe& r : list.recipes) j["signals"].push_back(recipe_json(r));
    j["problems"] = list.problems;
    print_json(j);
    return Exit::Ok;
  }
  std::size_t width = 4;
  for (const Recipe& r : list.recipes) width = std::max(width, r.name.size());
  print("{:{}}  {:>8}  {:>9}  {}\n", "Name", width, "Length", "Level", "What for");
  for (const Recipe& r : list.recipes) {
    const auto seconds = length_of(r);
    const auto level = level_of(r);
    print("{:{}}  {:>8}  {:>9}  {}\n", r.name, width, seconds ? fmt::format("{:.1f} s", *seconds) : "",
          level ? fmt::format("{:g} dBFS", *level) : "", r.purpose);
  }
  return Exit::Ok;
}

// --- show
// ------------------------------------------------------------------------------------------------------------

json parameters_json(const Recipe& recipe) {
  json out = json::array();
  for (const signals::ParameterSpec& spec : recipe.kind->parameters) {
    if (!recipe.has(spec.key)) continue;
    json p = {{"key", spec.key}, {"meaning", spec.meaning}, {"unit", spec.unit}};
    std::visit([&](const auto& v) { p["value"] = v; }, recipe.parameters.find(spec.key)->second);
    out.push_back(std::move(p));
  }
  return out;
}

struct ShowSignalOptions {
  std::string name;
  bool screen = false;
  double border_percent = 3;
  VideoSignalOptions video;
};

Exit show_signal(const Context& context, const ShowSignalOptions& o) {
  const VideoSignalOptions& video = o.video;
  const Recipe recipe = signals::load_recipe(o.name);
  check_video_options(recipe, video);
  if (o.screen) {
    if (recipe.kind->medium != Medium::Video)
      throw bad_usage(fmt::format(
          "--screen: {} is an audio signal; send it with 'signals send {} --to DEVICE'", o.name, o.name));
    return show_picture(context, recipe, video, o.border_percent);
  }
  if (context.json) {
    json j = document_of("signals show");
    j["signal"] = recipe_json(recipe);
    j["signal"]["contains"] = recipe.kind->meaning;
    j["signal"]["parameters"] = parameters_json(recipe);
    if (recipe.kind->medium == Medium::Video) j["signal"]["lines"] = picture_json(recipe, video);
    print_json(j);
    return Exit::Ok;
  }
  print("{}: {}\n\n  What for:  {}\n  Contains:  {}\n  Source:    {}\n  Recipe:    {}\n", recipe.name,
        recipe.title, recipe.purpose, recipe.kind->meaning, recipe.source, recipe.path.string());
  if (const auto seconds = length_of(recipe)) print("  Length:    {:.1f} s\n", *seconds);
  print("\n");
  for (const signals::ParameterSpec& spec : recipe.kind->parameters) {
    if (!recipe.has(spec.key)) continue;
    print("  {:18} {} {}  ({})\n", spec.key, signals::to_string(recipe.parameters.find(spec.key)->second),
          spec.unit, spec.meaning);
  }
  if (const auto level = level_of(recipe)) {
    if (const std::string caution = signals::caution_for(*level); !caution.empty())
      print("\n  {}\n", caution);
  }
  if (recipe.kind->medium == Medium::Video) print("{}", picture_words(recipe, video));
  return Exit::Ok;
}

// --- write
// -----------------------------------------------------------------------------------------------------------

struct WriteOptions {
  std::string name, out, channels = "both", bits = "24";
  std::optional<std::string> level;
  std::optional<double> full_scale_v;
  signals::AudioSignalOptions signal;
  VideoSignalOptions video;
  bool replace = false;
};

capture::SampleFormat format_of(const std::string& bits) {
  return bits == "float" ? capture::SampleFormat::Float32 : capture::pcm_format(std::stoi(bits));
}

void apply_channels(const std::string& channels, signals::AudioSignalOptions& o) {
  if (channels == "mono") o.channels = 1;
  if (channels == "left") o.route = signals::Route::Left;
  if (channels == "right") o.route = signals::Route::Right;
}

/// The whole signal, or what was done until Ctrl-C. @return the file's format in words.
std::string write_samples(const Context& context, AudioSource& source, const fs::path& path,
                          const WriteOptions& o) {
  const CaptureFacts& facts = source.facts();
  capture::AudioFileWriter writer(path, facts.sample_rate_hz, facts.channels, format_of(o.bits));
  const ProgressLine line("writing " + o.out);
  const Progress progress = line.progress();
  const auto channels = static_cast<std::size_t>(facts.channels);
  std::vector<float> block(channels * 8192);
  for (std::size_t n = source.read(block); n > 0 && !context.stop; n = source.read(block)) {
    writer.write(std::span(block).first(n * channels));
    if (progress)
      progress(static_cast<double>(writer.frames()) / static_cast<double>(facts.frames), "writing");
  }
  std::string words = writer.format_words();
  writer.close();
  return words;
}

Exit write_signal(const Context& context, WriteOptions& o) {
  const Recipe recipe = signals::load_recipe(o.name);
  check_video_options(recipe, o.video);
  check_out(o.out, o.replace);
  if (recipe.kind->medium == Medium::Video) {
    o.video.seconds = o.signal.seconds;
    return write_video_signal(context, recipe, o.video, o.out);
  }
  apply_channels(o.channels, o.signal);
  if (o.level) o.signal.level_dbfs = signals::resolve_dbfs(signals::parse_level(*o.level), o.full_scale_v);
  if (o.bits == "16") o.signal.dither_bits = 16;
  const auto source = signals::make_audio_signal(recipe, o.signal);
  const CaptureFacts& facts = source->facts();
  Draft draft(o.out);
  std::string format;
  try {
    format = write_samples(context, *source, draft.path(), o);
  } catch (const Error& e) {
    throw draft.about_target(e);
  }
  if (context.stop) {
    say("linebench: {}: interrupted; nothing was written\n", report::printable(o.out));
    return Exit::Interrupted;
  }
  std::error_code ec;
  fs::remove(capture::facts_path(o.out), ec);  // what is known of an older file of that name
  draft.keep();

  const double level = signals::signal_level_dbfs(recipe, o.signal);
  const std::string caution = signals::caution_for(level);
  if (context.json) {
    CaptureFacts written = facts;
    written.source = o.out;
    written.format = format;
    json j = document_of("signals write");
    j["output"] = facts_to_json(written);
    j["level_dbfs"] = level;
    if (!caution.empty()) j["caution"] = caution;
    print_json(j);
    return Exit::Ok;
  }
  print("{}: {}, {:.1f} s at {:.1f} dBFS, {}, {:g} Hz, {}\n", o.out, recipe.title, facts.duration_s(), level,
        format, facts.sample_rate_hz,
        facts.channels == 1 ? "1 channel" : fmt::format("{} channels", facts.channels));
  for (const std::string& note : facts.notes) print("Note: {}\n", note);
  if (!caution.empty()) print("{}\n", caution);
  return Exit::Ok;
}

void add_write(CLI::App& command, Context& context) {
  auto o = std::make_shared<WriteOptions>();
  CLI::App* c = command.add_subcommand("write", "Write a test signal to a file");
  c->add_option("NAME", o->name, "Name of the signal, or the path of a recipe")->required();
  c->add_option("--out", o->out,
                "File to write; its ending says the format (.wav, .flac, .aiff, .w64; test pictures: .wav, "
                ".raw, .csv composite samples, .png, .avi, .yuv frames)")
      ->required();
  const CLI::Option* rate = c->add_option("--rate", o->signal.sample_rate_hz, "Sample rate, Hz")
                                ->default_str("48000, test pictures 27e6");
  c->add_option("--seconds", o->signal.seconds, "Length instead of the recipe's");
  c->add_option("--level", o->level,
                "Level instead of the recipe's: -20dBFS; +4dBu and -10dBV with --full-scale");
  c->add_option("--full-scale", o->full_scale_v, "Volts (peak) the output gives at full scale");
  c->add_option("--channels", o->channels,
                "Two channels with the signal on both, left or right only; or mono")
      ->check(CLI::IsMember({"both", "left", "right", "mono"}))
      ->capture_default_str();
  c->add_option("--bits", o->bits, "Sample format")
      ->check(CLI::IsMember({"16", "24", "32", "float"}))
      ->capture_default_str();
  c->add_flag("--replace", o->replace, "Replace a file of that name");
  add_video_signal_options(*c, o->video);
  c->callback([&context, o, c, rate] {
    note_given(*c, o->video);
    if (rate->count() > 0) o->video.rate_hz = o->signal.sample_rate_hz;
    context.action = [&context, o] { return write_signal(context, *o); };
  });
}

}  // namespace

void add_signals(CLI::App& app, Context& context) {
  CLI::App* command =
      app.add_subcommand("signals", "The test signals: list them, see what is in them, write them to files");
  command->require_subcommand(1);
  command->add_subcommand("list", "All test signals and what each is for")->callback([&context] {
    context.action = [&context] { return list_signals(context); };
  });
  auto o = std::make_shared<ShowSignalOptions>();
  CLI::App* show =
      command->add_subcommand("show", "What a test signal contains; a test picture also on the screen");
  show->add_option("NAME", o->name, "Name of the signal, or the path of a recipe")->required();
  CLI::Option* screen = show->add_flag("--screen", o->screen,
                                       "Put the test picture on the whole screen until a key is pressed");
  show->add_option("--seconds", o->video.seconds, "How long, instead of until a key is pressed")
      ->needs(screen);
  show->add_option(
          "--border", o->border_percent,
          "Percent of the screen on each side that may be cut off: the picture stands within, its edges "
          "go on outwards; 0 fills the screen exactly")
      ->check(CLI::Range(0.0, 10.0))
      ->capture_default_str()
      ->needs(screen);
  add_system_option(*show, o->video);
  show->callback([&context, o, show] {
    note_given(*show, o->video);
    context.action = [&context, o] { return show_signal(context, *o); };
  });
  add_write(*command, context);
  add_signals_send(*command, context);
  add_signals_faults(*command, context);
}

}  // namespace linebench::app
