// How probabilities and weights are shown, among the report's files.
#pragma once

#include <linebench/diagnose/diagnose.hpp>
#include <string>

namespace linebench::report {

[[nodiscard]] std::string show_probability(double p);
[[nodiscard]] std::string show_minutes(double minutes);
/// "x12": that many times likelier; "/3": that many times less.
[[nodiscard]] std::string show_times(double nats);
/// A weight against nothing wrong from its ln.
[[nodiscard]] std::string show_weight(double log_weight);
/// "4 min, settles most of what is open".
[[nodiscard]] std::string show_effort(const diagnose::NextTest& test);
/// What is all but certain and proved is to be cured next; else empty.
[[nodiscard]] std::string cure_first(const diagnose::Diagnosis& diagnosis);
/// What stands beside that cure; empty where it is among the diagnosis' cautions anyway.
[[nodiscard]] std::string cures_caution(const diagnose::Diagnosis& diagnosis);
/// What is left open is worth telling while nothing may be wrong.
[[nodiscard]] std::vector<std::string> left_open(const diagnose::Diagnosis& diagnosis);
/// What speaks against the fault by what it does itself.
[[nodiscard]] std::vector<diagnose::Bearing> touched_against(const diagnose::Finding& finding);
/// What is odd and the fault has nothing to do with, by its labels; empty where there is nothing.
[[nodiscard]] std::string left_unexplained(const diagnose::Finding& finding);
[[nodiscard]] double decibans(double nats);

}  // namespace linebench::report
