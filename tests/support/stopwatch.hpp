// Processor time, not the wall clock: a busy machine must not fail a test of cost.
#pragma once

#include <sys/resource.h>

#include <cstdlib>

namespace stopwatch {

#if defined(__SANITIZE_THREAD__)
inline constexpr double allowance = 30.0;  // what a sanitizer that looks at every access may cost
#elif defined(__SANITIZE_ADDRESS__)
inline constexpr double allowance = 10.0;
#else
inline constexpr double allowance = 1.0;
#endif

/// What may be spent: as promised where every test is run in full (LINEBENCH_TEST_LONG), on a machine that is
/// known; ten times that on any.
inline double most(double promised_s) {
  return std::getenv("LINEBENCH_TEST_LONG") != nullptr ? promised_s : 10 * promised_s;
}

enum class Who { Self, Children };

/// Seconds of processor time spent since it was made, by this process or by children that have ended,
/// as an optimised build without sanitizers would be judged.
class Stopwatch {
 public:
  explicit Stopwatch(Who who = Who::Self) : who_(who), start_(used()) {}
  [[nodiscard]] double seconds() const { return (used() - start_) / allowance; }

 private:
  [[nodiscard]] double used() const {
    rusage u{};
    getrusage(who_ == Who::Self ? RUSAGE_SELF : RUSAGE_CHILDREN, &u);
    const auto s = [](const timeval& t) {
      return static_cast<double>(t.tv_sec) + 1e-6 * static_cast<double>(t.tv_usec);
    };
    return s(u.ru_utime) + s(u.ru_stime);
  }
  Who who_;
  double start_;
};

}  // namespace stopwatch
