// Two jobs side by side: what was measured at the same place in both, and whether it changed.
#pragma once

#include <linebench/check/work.hpp>
#include <linebench/diagnose/compare.hpp>
#include <string>
#include <vector>

namespace linebench::check {

struct PlaceCompared {
  std::string place;  ///< what was measured, as the captures are labelled
  std::string before_verdict, after_verdict;
  diagnose::Comparison comparison;
};

struct JobsCompared {
  std::vector<PlaceCompared> places;                 ///< in the order of the later job
  std::vector<std::string> only_before, only_after;  ///< measured in one of them alone
};

/// The last capture of each place in either job. A place is a station's test, a feed's sound, quiet or
/// picture, a point of a path; any other capture goes by its label.
/// @param before, after may be the same job: then the first capture of each place stands against its last,
/// and places that were measured once are left out.
[[nodiscard]] JobsCompared compare_jobs(const diagnose::FaultBook& book, const Work& before,
                                        const Work& after, const diagnose::Site& site = {});

}  // namespace linebench::check
