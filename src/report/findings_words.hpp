// How probabilities and weights are shown, among the report's files.
#pragma once

#include <string>

namespace linebench::report {

[[nodiscard]] std::string show_probability(double p);
[[nodiscard]] std::string show_minutes(double minutes);
/// "x12": that many times likelier; "/3": that many times less.
[[nodiscard]] std::string show_times(double nats);
[[nodiscard]] double decibans(double nats);

}  // namespace linebench::report
