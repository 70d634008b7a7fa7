// What a station's job knows at a point of its route: only what was answered up to there.
#pragma once

#include <linebench/check/flow.hpp>
#include <string>
#include <vector>

namespace linebench::check {

/// One long run, and after how many repairs it was made.
struct SoakRun {
  const job::Capture* capture = nullptr;
  int round = 1;
  [[nodiscard]] bool picture() const { return capture->view == "picture"; }
};

struct StationState {
  std::string system{};  ///< of its camera
  int round = 1;         ///< the first, and one more after each repair
  std::vector<SoakRun> soaks{};
};

/// The tests of this job: as they stood when they were chosen, else (a job of an earlier version) as the
/// plan's file has them now. nullptr before they are chosen and where that file is gone.
[[nodiscard]] const StationPlan* plan_of(const Work& work, const Knowledge& knowledge);

struct Tested {
  const StationPlan* plan = nullptr;
  std::map<std::string, const job::Capture*> captures;  ///< by the test's key: the last that still counts
  struct Skipped {
    std::string title, reason;
    bool decides = false;  ///< without it there is no verdict
  };
  std::vector<Skipped> skipped;
  std::vector<std::string> before_repair;  ///< titles of tests that were made, but not since the last repair
  bool waiting = false;                    ///< a test was not come to yet
};
[[nodiscard]] Tested tested(const Work& work, const Knowledge& knowledge, int round);

/// Whether the last long run ran its time, and showed nothing.
[[nodiscard]] bool soak_whole(const Work& work, const job::Capture& soak);
[[nodiscard]] bool soak_failed(const job::Capture& soak);

[[nodiscard]] report::Outcome outcome_at(const Work& work, const Knowledge& knowledge,
                                         const StationState& state);
/// The job's result in a word or two.
[[nodiscard]] std::string result_word(const Work& work, const report::Outcome& outcome,
                                      const StationState& state, const Words& words);

inline constexpr double usual_soak_hours = 1;  ///< where nobody said how many

}  // namespace linebench::check
