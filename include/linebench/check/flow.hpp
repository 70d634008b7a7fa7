// The three guided jobs. Each is a pure function from what the store holds to the next step.
#pragma once

#include <linebench/check/checklist.hpp>
#include <linebench/check/plan.hpp>
#include <linebench/check/profile.hpp>
#include <linebench/check/reference.hpp>
#include <linebench/check/work.hpp>
#include <linebench/diagnose/compare.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <map>
#include <memory>

namespace linebench::check {

/// What the diagnosis made of one set of evidence. A job that is walked through again asks for the same ones.
struct Look {
  diagnose::Diagnosis diagnosis{};  ///< of the faults that can come in at the segment
  diagnose::Segment segment{};
  double nothing_wrong = 1;  ///< before the segment ruled out any
};

/// What the flows know beside the job itself.
struct Knowledge {
  Words words;
  Profile profile;
  Checklist checklist{};
  std::vector<StationPlan> plans{};                      ///< check station
  std::vector<PastStation> history{};                    ///< stations of the same type, oldest first
  std::vector<job::Path> paths{};                        ///< check site: of the same site, as last described
  std::shared_ptr<const diagnose::FaultBook> book{};     ///< may be null but for check site
  std::shared_ptr<std::map<std::string, Look>> looks{};  ///< by their evidence; may be null
  bool sends = false;                                    ///< a card was named to send test signals from
};

/// What this capture would not have shown: on it alone nothing may be passed.
[[nodiscard]] std::vector<diagnose::Gap> left_open(const Knowledge& knowledge, const job::Capture& capture);

/// The signal path a site job describes, for its site; nothing before its parts are named.
[[nodiscard]] std::optional<job::Path> path_of(const Work& work);

[[nodiscard]] Route next_step(const Work& work, const Knowledge& knowledge);  ///< of its kind of job

/// What the job came to by now, for its report; no headline before there is anything to say.
[[nodiscard]] report::Outcome outcome_of(const Work& work, const Knowledge& knowledge);

/// What the result a job was finished with stands for: Pass, Incomplete or Fail. An open job is
/// Incomplete; nothing for a result in words of a person's own.
[[nodiscard]] std::optional<report::Mark> mark_of_result(const job::Job& job, const Words& words);

/// What the evidence of a fault on site speaks for by now; nothing for the other jobs and before a capture.
[[nodiscard]] std::optional<diagnose::Diagnosis> diagnosis_of(const Work& work, const Knowledge& knowledge);

/// Tables for the paper: a station over its returns, a path from part to part.
[[nodiscard]] std::vector<report::PaperTable> tables_of(const Work& work, const Knowledge& knowledge);

/// Uids of captures that a paper need not show: what passed before a repair and was measured again after it.
[[nodiscard]] std::vector<std::string> repeated_in(const Work& work);

/// Title, site and station as the answers give them.
[[nodiscard]] job::NewJob identity_of(const Work& work);

}  // namespace linebench::check
