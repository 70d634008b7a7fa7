// Limit sets, and readings judged by them.
#include <linebench/base/reading.hpp>
#include <linebench/judge/limits.hpp>
#include <string>

#include "target.hpp"

using namespace linebench;

FUZZ_TARGET(limits) {
  fuzz::reads([&] {
    const judge::LimitSet set = judge::parse_limit_set(input, "fuzz", "fuzz.toml");
    Readings readings;
    const Curve curve{.x = {100, 1000, 10000}, .y = {-1, 0, -3}, .x_unit = "Hz", .y_unit = "dB"};
    for (const judge::LimitEntry& e : set.entries) {
      if (!e.limit.allowed.empty())
        readings.push_back(text_reading(e.id, "none"));
      else if (!e.limit.mask.empty())
        readings.push_back(curve_reading(e.id, curve, std::nullopt));
      else
        readings.push_back(number_reading(e.id, -40, 0.5));
    }
    judge::judge(readings, set);
    (void)judge::overall(readings, set);
    for (const Reading& r : readings) (void)judge::severity(r);
  });
}
