#include "picture_line.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>

#include "say.hpp"

namespace linebench::app {

PictureLine::PictureLine() : redraw_(isatty(STDERR_FILENO) != 0) {}

void PictureLine::show(const capture::PictureStatus& s) const {
  if (!s.event.empty()) say("{}{}\n", redraw_ ? "\r\x1b[K" : "", s.event);
  if (!redraw_) return;
  say("\r{:.0f} of {:.0f} s  signal {}{}{}\x1b[K", s.done_s, s.total_s, capture::to_string(s.signal),
      s.dropped > 0 ? fmt::format("  {} lost", s.dropped) : "",
      s.corrupt > 0 ? fmt::format("  {} damaged", s.corrupt) : "");
  (void)std::fflush(stderr);
}

void PictureLine::wipe() const {
  if (redraw_) say("\r\x1b[K");
}

}  // namespace linebench::app
