#include <fmt/format.h>

#include <filesystem>
#include <linebench/measure/grabber.hpp>
#include <memory>

#include "commands.hpp"
#include "measure_frames.hpp"
#include "show.hpp"

namespace linebench::app {
namespace {

struct RatioOptions {
  std::string lower, higher, limits;
  ShowOptions show;
};

Exit sync_ratio(Context& context, RatioOptions& o) {
  check_limits(o.limits);
  if (!o.show.html.empty()) check_page_path(o.show.html, o.higher);
  if (std::error_code none; std::filesystem::equivalent(o.lower, o.higher, none))
    throw bad_usage("both captures are the same file: name one of bars of 75 % and one of bars of 100 %");
  const MeasuredFrames lower = measure_frames_raw(o.lower, "video-bars-75", context);
  MeasuredFrames higher = measure_frames_raw(o.higher, "", context);
  if (const Reading* p = find_reading(higher.readings, "picture.pattern");
      p != nullptr && p->measured() && p->text() == "bars-75")
    higher = measure_frames_raw(o.higher, "video-bars-100", context);
  if (lower.facts.device != higher.facts.device || lower.lines != higher.lines)
    throw bad_usage("the two captures are not of the same grabber, input and standard");
  const auto calibration =
      lower.facts.device.empty() ? std::nullopt : capture::find_grabber(lower.facts.device, lower.lines);
  report::Document document;
  document.command = "sync-ratio";
  document.readings =
      measure::sync_to_white(lower.readings, higher.readings, calibration ? &*calibration : nullptr);
  document.input = higher.facts;
  document.input.source = lower.facts.source + " and " + higher.facts.source;
  if (calibration) document.input.calibration = calibration->name();
  judge_document(document, o.limits);
  return show(context, document, o.show);
}

}  // namespace

void add_sync_ratio(CLI::App& app, Context& context) {
  auto o = std::make_shared<RatioOptions>();
  CLI::App* c = app.add_subcommand(
      "sync-ratio",
      "By a grabber's gain control: is sync low for its white? From bars at two levels of white");
  c->add_option("LOWER", o->lower, "Capture of bars of 75 %")->required();
  c->add_option("HIGHER", o->higher, "Capture of bars of 100 % or 100/0/75/0")->required();
  add_show_options(*c, o->show, o->limits);
  c->callback([&context, o] { context.action = [&context, o] { return sync_ratio(context, *o); }; });
}

}  // namespace linebench::app
