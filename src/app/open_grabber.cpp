#include "open_grabber.hpp"

#include <fmt/format.h>

#include "say.hpp"

namespace linebench::app {

OpenGrabber open_grabber(const GrabberChoice& o) {
  OpenGrabber g;
  g.system = capture::open_grabber_system();
  const auto grabbers = g.system->grabbers();
  const capture::Grabber& from = capture::choose_grabber(grabbers, o.from);
  const capture::GrabberInput& input = capture::choose_input(from, o.input);
  g.stream = g.system->open({.grabber = from,
                             .input = input,
                             .lines = o.standard == "auto"  ? 0
                                      : o.standard == "625" ? 625
                                                            : 525,
                             .allow_compressed = o.compressed});
  g.identity = from.identity();
  g.device = fmt::format("{}, input {}", from.identity(), input.name);
  const capture::GrabberSetting& set = g.stream->setting();
  say("{}: {} lines{}, {}x{} {}\n", g.device, set.format.lines,
      set.standard.empty() ? "" : " (" + set.standard + ")", set.format.width, set.format.height, set.fourcc);
  for (const std::string& note : set.notes) say("{}\n", note);
  return g;
}

}  // namespace linebench::app
