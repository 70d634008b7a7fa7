// A guided job's paper: what its flow knows beside what the store holds.
#pragma once

#include <linebench/check/flow.hpp>
#include <linebench/job/store.hpp>
#include <linebench/report/job_page.hpp>

#include "commands.hpp"

namespace linebench::app {

/// What the flows of this kind of job know: words and profile of this user, checklist.
/// @param to_look only what is stored is looked at: a plan or checklist of one's own that is not right is
/// said, and left out; otherwise it throws Error(Unusable).
[[nodiscard]] check::Knowledge knowledge_for(job::JobKind kind, bool to_look = false);

/// What was measured before on this station and on good ones of its type.
void add_history(check::Knowledge& knowledge, const job::Store& store, const job::Job& job);

/// All that the store and the job's flow say of it.
[[nodiscard]] report::JobPaper paper_of(const job::Store& store, const job::Job& job);

/// Plots of the captures whose files are still as they were measured.
void add_traces(report::JobPaper& paper, const Context& context);

}  // namespace linebench::app
