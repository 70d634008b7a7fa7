#include "cmd_measure_picture.hpp"

#include <linebench/check/profile.hpp>

#include "measure_frames.hpp"

namespace linebench::app {

Exit measure_picture_file(Context& context, MeasureOptions& o) {
  if (o.full_scale_v)
    throw bad_usage("--full-scale: the picture view has no such option; codes stand for levels by BT.601");
  measure::PictureOptions options;
  if (o.system != "auto") options.lines = o.system == "625" ? 625 : 525;
  // Frames do not show whether their blacks had setup: where nobody says, the profile does.
  const auto profile = check::load_profile();
  options.setup = (o.system == "auto" && profile ? profile->system : o.system) != "525-no-setup";
  options.mains_hz = mains_hz(o.mains);
  options.velocity_factor = o.velocity_factor;
  if (!o.show.html.empty()) o.show.picture.emplace();
  MeasuredFrames m =
      measure_frames_raw(o.file, o.signal, context, options, o.show.picture ? &*o.show.picture : nullptr);

  report::Document document;
  document.command = "measure";
  document.readings = std::move(m.readings);
  document.input = std::move(m.facts);
  if (!o.signal.empty()) document.input.signal = o.signal;
  take_out_known_grabber(document.input, m.lines, document.readings);
  judge_document(document, o.limits);
  return show(context, document, o.show);
}

}  // namespace linebench::app
