#include "measure_frames.hpp"

#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/grabber.hpp>
#include <linebench/measure/picture.hpp>

#include "progress_line.hpp"

namespace linebench::app {

MeasuredFrames measure_frames_raw(const std::string& file, const std::string& sent, const Context& context,
                                  std::optional<double> mains_hz) {
  const auto source = capture::open_frames(file);
  measure::PictureOptions options;
  options.mains_hz = mains_hz;
  options.signal = sent.empty() ? source->facts().signal : sent;
  MeasuredFrames m;
  const ProgressLine line("measuring " + source->facts().source);
  m.readings = measure::measure_picture(*source, options, line.progress(), &context.stop);
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
