// Running a guided job: show a step, take its answer, store it, go on.
#pragma once

#include <linebench/check/flow.hpp>
#include <linebench/job/store.hpp>
#include <string>

#include "answers.hpp"
#include "check_record.hpp"

namespace linebench::app {

struct CheckRun {
  job::Store& store;
  job::Job job;  ///< without a uid: begun with its first answer, so that none is kept that has none
  check::Knowledge& knowledge;  ///< what earlier jobs say of a station is added once its plate is known
  Answers& answers;
  CheckDevices devices{};
  std::string change{};       ///< key of an answer to be given anew first
  std::string store_named{};  ///< the store's file where one was named: commands to go on with need it too
};

/// Until the job is through or is left. Each answer is on the disk before the next step is shown.
/// @return what it came to: Ok, OutOfLimits, or Interrupted when it was left.
Exit run_check(CheckRun& run, Context& context);

/// The job as one document of the JSON contract. @param job without a uid: there is none.
void print_check_document(const job::Store& store, const job::Job& job, const check::Knowledge& knowledge);

}  // namespace linebench::app
