// Libraries at the edges print to standard error by themselves, where this program says in one line what is
// wrong.
#pragma once

namespace linebench {

/// While it lives, what the process writes to standard error goes nowhere. For short calls into libraries
/// only: the program's own lines from other threads would be lost as well. Does nothing where it cannot.
class QuietStderr {
 public:
  QuietStderr();
  ~QuietStderr();
  QuietStderr(const QuietStderr&) = delete;
  QuietStderr& operator=(const QuietStderr&) = delete;

 private:
  int kept_ = -1;
};

}  // namespace linebench
