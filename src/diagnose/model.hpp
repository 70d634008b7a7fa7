// Densities of signs under causes, and the tables the inference works on.
#pragma once

#include <algorithm>
#include <linebench/diagnose/diagnose.hpp>
#include <map>
#include <span>
#include <vector>

namespace linebench::diagnose {

/// What one cause adds to one sign at one severity.
struct Cause {
  bool acts = false;
  double mean = 0, sd = 0;      // level or shift, working units
  std::vector<double> words{};  // scale Words: the whole distribution
  double weight = 0;            // scale Words: power it adds to what they are about; 0: not known
  double power = 0;             // of the level
};

/// How far a sign may be explained by nothing we model: a share of its density spread over all it can be. It
/// keeps one odd reading from ruling out the truth.
constexpr double stray_share = 0.01;
/// The same where no cause acts on the sign: what is sound seldom reads odd.
constexpr double sound_stray_share = 0.0001;
/// The same of a sign that cannot be misread.
constexpr double certain_stray_share = 1e-7;

/// What several faults do to one sign; empty: nothing is wrong.
using Causes = std::span<const Cause* const>;

/// Mean and standard deviation of a sign with these causes on top of what is always there.
struct Predicted {
  double mean = 0, sd = 1;
};
[[nodiscard]] Predicted predict(const Sign& sign, Causes causes);
/// The power of a level, where causes of the sign add as powers.
[[nodiscard]] double power_of(const Sign& sign, double level);
/// Of several causes each has its say by what it makes of that which the words are about.
[[nodiscard]] std::vector<double> predict_words(const Sign& sign, Causes causes);

/// What a density needs of the sound case, worked out once for a piece of evidence that is weighed many
/// times.
struct Sound {
  double log = 0;        ///< ln of its density
  double not_odder = 1;  ///< probability that a reading is no further from the usual
  double power = 0;      ///< of what is usual
};
[[nodiscard]] Sound sound_case(const Sign& sign, const Evidence& e);
/// ln of the density (or probability) of the evidence with these causes.
[[nodiscard]] double log_density(const Sign& sign, const Evidence& e, Causes causes, const Sound& sound);
/// The same when nothing at all is known about its cause.
[[nodiscard]] double log_density_unknown(const Sign& sign, const Evidence& e);

/// The cause an effect makes at a severity.
[[nodiscard]] Cause cause_of(const Sign& sign, const Effect& effect, double severity);

/// A way and a severity of one fault.
struct Cell {
  double log_weight = 0;
  double severity = 0;
  int variant = 0;
  std::vector<Cause> causes;      // beside FaultTable::touched
  std::vector<double> log_ratio;  // ln p(e | cell) - ln p(e | nothing wrong), beside touched
  double log_total = 0;           // sum of log_ratio
};

struct FaultTable {
  const Fault* fault = nullptr;
  std::vector<int> touched;    // places in the evidence
  std::vector<double> answer;  // ln p(e | fault and all else) - ln p(e | nothing wrong), beside touched
  double say = 0;              // how far it shows in captures, 0 to 1
  std::vector<Cell> cells;
  double log_ratio = 0;           // ln of the evidence's likelihood over that of nothing wrong
  double log_of_trials = 0;       // of that, what looks, meters and trials make of it
  std::vector<double> posterior;  // of the cells, given that this fault alone is there
};

struct Hypothesis {
  std::vector<int> faults;  // places in the tables, ascending; none: nothing wrong
  bool unlisted = false;
  double log_weight = 0;  // prior times likelihood, relative to nothing wrong
  double probability = 0;

  [[nodiscard]] bool sound() const { return faults.empty() && !unlisted; }
  [[nodiscard]] bool holds(int fault) const { return std::ranges::find(faults, fault) != faults.end(); }
};

struct Model {
  const FaultBook* book = nullptr;
  std::vector<Evidence> evidence;
  std::vector<const Sign*> signs;  // beside evidence
  std::vector<Sound> sound;        // beside evidence
  std::vector<FaultTable> tables;
  std::vector<Hypothesis> hypotheses;  // probabilities sum to 1
};

/// A metered value no further out than the furthest that any fault of the book makes of it: beyond that it is
/// more of the same, and no less like it.
[[nodiscard]] Evidence within_book(const FaultBook& book, const Sign& sign, const Evidence& evidence);

/// What was seen or metered that speaks of a fault, a sentence each: no capture clears what a person found.
[[nodiscard]] std::vector<std::string> unsettled(const Model& model);

/// Readings out of their limits that no sign is about, a sentence each. Limits are those that a capture was
/// judged by, else those of its view; sound that was not judged has none.
[[nodiscard]] std::vector<std::string> out_of_limits(const FaultBook& book,
                                                     const std::vector<Capture>& captures, const Site& site,
                                                     const Diagnosis& found);

/// Whether the fault gives what was found there mostly, in whatever way it shows itself.
[[nodiscard]] bool gives_word(const Model& model, int fault, std::size_t evidence);
/// Whether an answer was found by which all that was found is of this fault.
[[nodiscard]] bool alone(const Model& model, int fault);

/// @param barred places whose faults are ruled out.
[[nodiscard]] Model build_model(const FaultBook& book, const std::vector<Evidence>& evidence,
                                const std::set<std::string>& barred = {});

/// Likelihoods of faults that are there together, each worked out once.
class Together {
 public:
  explicit Together(const Model& model) : model_(model) {}
  /// ln of the evidence's likelihood with all these faults over that of nothing wrong. @param faults
  /// ascending.
  double log_ratio(const std::vector<int>& faults);
  /// The same, one of them added to the others. Near enough where it explains little that they leave, or
  /// where all come to less than `least`.
  double log_ratio_with(const std::vector<int>& faults, int added, double least);

 private:
  struct Joint;
  [[nodiscard]] bool meet(int a, int b) const;
  [[nodiscard]] std::vector<std::vector<int>> groups(const std::vector<int>& faults) const;
  double of_group(const std::vector<int>& group);
  [[nodiscard]] Joint alone(int fault) const;
  void add(Joint& joint, int fault, bool carry_on) const;

  const Model& model_;
  std::map<std::vector<int>, double> known_;  // of groups
  std::map<std::vector<int>, double> near_;   // of sets, as near as was worth it
};

[[nodiscard]] double log_sum(std::span<const double> logs);

/// Probability of each fault, alone or in a pair, beside `tables`.
[[nodiscard]] std::vector<double> marginals(const Model& model);

/// Whether any capture gave evidence, beside what a person told.
[[nodiscard]] bool captured(const Model& model);
/// Whether this view's captures gave evidence: "audio.", "video.", "picture.".
[[nodiscard]] bool of_view(const Model& model, std::string_view prefix);
/// Whether the fault acts on a sign that every capture of a view taken should show.
[[nodiscard]] bool asked_of(const Model& model, const Fault& fault);
[[nodiscard]] std::vector<Gap> gaps(const Model& model);
/// The book's capture that gives signs of this prefix.
[[nodiscard]] std::optional<NextTest> capture_of(const Model& model, std::string_view prefix);
/// The capture that would close it; none where nothing was captured at all.
[[nodiscard]] std::optional<NextTest> closing_capture(const Model& model, const Gap& gap);

/// True for faults (not for nothing wrong or something not listed) that no evidence bears on, nor any that
/// the captures should have given.
[[nodiscard]] bool unseen(const Model& model, const Hypothesis& hypothesis);

/// Best next test: about everything (fault < 0), or about whether the fault in this table is there.
[[nodiscard]] std::optional<NextTest> best_test(const Model& model, int fault);

/// A trial that was made before, once more.
[[nodiscard]] NextTest test_again(const Model& model, const Sign& trial);

/// Every piece of evidence's bearing on this fault; signs the fault does not touch and that are not odd are
/// left out.
[[nodiscard]] std::vector<Bearing> bearings(const Model& model, const FaultTable& table, bool all);

}  // namespace linebench::diagnose
