// The three guided jobs. Each is a pure function from what the store holds to the next step.
#pragma once

#include <linebench/check/checklist.hpp>
#include <linebench/check/profile.hpp>
#include <linebench/check/work.hpp>

namespace linebench::check {

/// What the flows know beside the job itself.
struct Knowledge {
  Words words;
  Profile profile;
  Checklist checklist;
};

[[nodiscard]] Route next_step(const Work& work, const Knowledge& knowledge);

/// What the job came to by now, for its report; no headline before there is anything to say.
[[nodiscard]] report::Outcome outcome_of(const Work& work, const Knowledge& knowledge);

/// Title, site and station as the answers give them.
[[nodiscard]] job::NewJob identity_of(const Work& work);

}  // namespace linebench::check
