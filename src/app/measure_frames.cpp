#include "measure_frames.hpp"

#include <linebench/capture/frame_source.hpp>
#include <linebench/measure/picture.hpp>

#include "progress_line.hpp"

namespace linebench::app {

MeasuredFrames measure_frames_raw(const std::string& file, const std::string& sent, Context& context) {
  const auto source = capture::open_frames(file);
  measure::PictureOptions options;
  options.signal = sent.empty() ? source->facts().signal : sent;
  MeasuredFrames m;
  const ProgressLine line("measuring " + source->facts().source);
  m.readings = measure::measure_picture(*source, options, line.progress(), &context.stop);
  m.facts = source->facts();
  m.lines = source->format().lines;
  return m;
}

}  // namespace linebench::app
