// What a job was finished with, kept with it: later jobs, plans and faults of the book do not change it.
#pragma once

#include <linebench/check/work.hpp>
#include <nlohmann/json_fwd.hpp>
#include <optional>

namespace linebench::check {

/// {"verdict": "pass|fail|incomplete", "headline", "points": [{"weight", "what", "why", "do", "caution"}]}
[[nodiscard]] nlohmann::json outcome_to_json(const report::Outcome& outcome);

/// Keeps the outcome and finishes the job with this result.
void finish(job::Store& store, const job::Job& job, const std::string& result,
            const report::Outcome& outcome);

/// The outcome a job was finished with. Nothing for one that is open, that was finished by hand with another
/// result, or by an earlier version of the program.
[[nodiscard]] std::optional<report::Outcome> finished_with(const Work& work);

}  // namespace linebench::check
