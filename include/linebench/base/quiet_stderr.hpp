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

/// From now on what C code on the calling thread prints to the stream `stderr` goes nowhere; other threads'
/// goes through. For threads that a library made: they print whenever they like, e.g. when a card is pulled.
/// Call pass_stderr_by_thread() once before such threads start.
void quiet_this_thread() noexcept;

/// Makes the C stream `stderr` ask which thread writes. Nothing else changes: unbuffered, to descriptor 2.
/// Does nothing the second time, or where it cannot.
void pass_stderr_by_thread();

}  // namespace linebench
