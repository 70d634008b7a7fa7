#include "cmd_measure_picture.hpp"

#include <fmt/format.h>

#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/picture.hpp>

#include "measure_frames.hpp"
#include "progress_line.hpp"

namespace linebench::app {

Exit measure_picture_file(Context& context, MeasureOptions& o) {
  if (o.full_scale_v)
    throw bad_usage("--full-scale: the picture view has no such option; codes stand for levels by BT.601");
  const auto file = capture::open_frames(o.file);
  measure::PictureOptions options;
  if (o.system != "auto") options.lines = o.system == "625" ? 625 : 525;
  options.setup = o.system != "525-no-setup";
  if (o.mains == "50") options.mains_hz = 50;
  if (o.mains == "60") options.mains_hz = 60;
  options.velocity_factor = o.velocity_factor;
  options.signal = o.signal.empty() ? file->facts().signal : o.signal;

  report::Document document;
  document.command = "measure";
  {
    const ProgressLine line("measuring " + file->facts().source);
    if (!o.show.html.empty()) o.show.picture.emplace();
    document.readings = measure::measure_picture(*file, options, line.progress(), &context.stop,
                                                 o.show.picture ? &*o.show.picture : nullptr);
  }
  document.input = file->facts();
  if (!o.signal.empty()) document.input.signal = o.signal;
  refuse_part(context, o.file);
  take_out_known_grabber(document.input, file->format().lines, document.readings);
  judge_document(document, o.limits);
  if (const Reading* signal = find_reading(document.readings, "picture.signal");
      signal != nullptr && signal->text() == "none")
    document.caveat = "no picture: " + signal->reason;
  return show(context, document, o.show);
}

}  // namespace linebench::app
