// A line on standard error while frames are taken in; events on lines of their own.
#pragma once

#include <linebench/capture/picture_session.hpp>

namespace linebench::app {

class PictureLine {
 public:
  PictureLine();
  /// The line is drawn only on a terminal.
  void show(const capture::PictureStatus& status) const;
  void wipe() const;

 private:
  bool redraw_;
};

}  // namespace linebench::app
