// A job as the store holds it, and the script that walks through it. A flow is a pure function from what is
// in the store to the next step: so a job can be left anywhere, resumed, and any answer changed.
#pragma once

#include <linebench/check/plan.hpp>
#include <linebench/check/step.hpp>
#include <linebench/job/store.hpp>
#include <memory>
#include <string>
#include <vector>

namespace linebench::check {

struct Work {
  job::Job job;
  std::vector<job::Step> answers;  ///< the last of each key
  std::vector<job::Capture> captures;
  /// The tests as they stood when they were chosen: a plan that is edited later is another job's.
  std::shared_ptr<const StationPlan> plan{};

  /// nullptr when not answered yet.
  [[nodiscard]] const std::string* answer(std::string_view key) const;
  /// The capture an answer names; nullptr for none and for one that was skipped.
  [[nodiscard]] const job::Capture* capture(std::string_view key) const;
};

/// What of it counts: the answers that the flow came by.
[[nodiscard]] Work reached(const Work& work, const std::vector<Answered>& answered);
[[nodiscard]] Work load_work(const job::Store& store, const job::Job& job);  ///< as it stands in the store

/// How a step differs from its words.
struct Ask {
  std::string key;
  std::string words{};  ///< key of the question; empty: `key`
  Values values{};      ///< put into the texts
  std::optional<report::Outcome> news{};
  bool optional = false, reasoned = false;
  std::vector<Choice> choices{};  ///< in place of the question's own
  std::string otherwise{};
  std::vector<std::string> help{}, cautions{}, draw{};  ///< after, in place of (draw) the question's own
  /// A capture's key by its number: files are named so, and stores were before places had keys of their own.
  std::string numbered{};
  std::size_t longest = 2000;  ///< of a text, characters
};

/// Runs a flow until an answer is missing. Each call gives the answer, or stops the flow there.
class Script {
 public:
  Script(const Work& work, const Words& words) : work_(work), words_(words) {}

  [[nodiscard]] std::string choose(Ask ask);
  [[nodiscard]] std::string text(Ask ask);
  [[nodiscard]] std::optional<double> number(Ask ask, double least, double most);
  /// A line that `wrong` says nothing against.
  [[nodiscard]] std::string meter(Ask ask, std::function<std::string(const std::string&)> wrong);
  [[nodiscard]] std::string tick(Ask ask);
  /// nullptr when it was skipped.
  [[nodiscard]] const job::Capture* capture(Ask ask, CaptureWish wish);

  [[nodiscard]] const Words& words() const { return words_; }
  /// The job as far as it was walked through by now. What changed answers left behind is not in it.
  [[nodiscard]] Work so_far() const { return reached(work_, answered_); }
  [[nodiscard]] const Work& work() const { return work_; }

  /// Runs the flow. @param flow calls the above; gives the last step.
  template <typename Flow>
  [[nodiscard]] Route run(Flow flow) {
    try {
      Step last = flow(*this);
      return {std::move(answered_), std::move(last)};
    } catch (Waiting& w) {
      return {std::move(answered_), std::move(w.step)};
    }
  }

 private:
  // Leaves the flow at the first step without an answer; never seen outside run().
  struct Waiting {
    Step step;
  };
  [[nodiscard]] Step step_of(StepKind kind, Ask ask) const;
  [[nodiscard]] const std::string& answer_to(Step step);

  const Work& work_;
  const Words& words_;
  std::vector<Answered> answered_;
};

}  // namespace linebench::check
