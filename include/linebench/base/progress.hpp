// How long work tells somebody where it stands, and how it is told to stop.
#pragma once

#include <atomic>
#include <functional>
#include <string_view>

namespace linebench {

/// Called now and then with the share done (0..1, negative: unknown) and what is being done. May be empty.
using Progress = std::function<void(double share, std::string_view doing)>;

/// Set by Ctrl-C. Long loops look at it and stop with what they have.
using StopFlag = std::atomic<bool>;

}  // namespace linebench
