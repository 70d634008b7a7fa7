#include "measure_frames.hpp"

#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/grabber.hpp>

#include "progress_line.hpp"
#include "show.hpp"

namespace linebench::app {

MeasuredFrames measure_frames_raw(const std::string& file, const std::string& sent, const Context& context,
                                  measure::PictureOptions options, measure::PictureTraces* pictures) {
  const auto source = capture::open_frames(file);
  options.signal = sent.empty() ? source->facts().signal : sent;
  MeasuredFrames m;
  {
    const ProgressLine line("measuring " + source->facts().source);
    m.readings = measure::measure_picture(*source, options, line.progress(), &context.stop, pictures);
  }
  refuse_part(context, file);
  m.facts = source->facts();
  m.lines = source->format().lines;
  return m;
}

void take_out_known_grabber(CaptureFacts& facts, int lines, Readings& readings) {
  if (facts.device.empty()) return;
  const auto own = capture::find_grabber(facts.device, lines);
  if (!own) return;
  measure::take_out_grabber(readings, *own);
  facts.calibration = own->name();
}

}  // namespace linebench::app
