// From evidence to ranked faults: Bayes over nothing wrong, every fault, pairs of faults, and something that
// the book does not list. Severity and the ways a fault can show are integrated over. Same input, same
// answer.
#pragma once

#include <linebench/diagnose/evidence.hpp>
#include <linebench/diagnose/fault_book.hpp>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace linebench::diagnose {

/// One piece of evidence as it bears on one fault.
struct Bearing {
  std::string sign, label;
  std::string text;  ///< one line with the figures
  double nats = 0;   ///< ln of how much likelier it is with the fault than with nothing wrong; < 0: against
  bool touched =
      true;  ///< false: the fault does nothing to it; nats < 0 then: it is odd, and left unexplained
  bool beyond = false;  ///< found where the fault does not put it
};

/// Something to do next, and what it is worth.
struct NextTest {
  std::string id;  ///< a trial's sign or a capture
  std::string label, how, caution;
  std::string notation;  ///< how its outcome is typed in; empty for captures
  double minutes = 0;
  double bits = 0;       ///< expected information
  double settles = 0;    ///< expected share of what is open that it settles, 0 to 1
  std::string medium{};  ///< as of its trial: "sound" or "picture" where it tells of that alone
  bool again = false;    ///< it was made before, and came out against what the captures show
};

struct Finding {
  std::string fault, label, what, group;
  double probability = 0;                               ///< that this fault is there, alone or beside another
  std::vector<Bearing> evidence_for, evidence_against;  ///< strongest first
  std::optional<NextTest> next_test;                    ///< the one that tells most a minute about this fault
  std::string tell_apart, remedy, caution, source;
  std::string held{};        ///< the look, meter or trial of its own that came out against it: the cure waits
  std::string usually_with;  ///< the fault it is most often paired with here; empty when it stands alone
};

/// What the captures of one view leave open: faults as frequent as these could be there, plain to be seen,
/// and would read the same. A bound shows that something is absent only where it lies below what a fault
/// makes of it; what could not be read shows nothing.
struct Gap {
  std::string view;  ///< the captures' prefix: "audio.", "video.", "picture."; empty: nothing was captured
  std::string sign;  ///< the first sign that is not shown
  double share = 0;  ///< of jobs that have one of the faults left open, by the book's estimate
  std::string text;  ///< a sentence with the figures
  std::string how;   ///< the capture that would close it
};

struct Diagnosis {
  double nothing_wrong = 0;           ///< in what was captured, or in all where nothing was
  double unlisted = 0;                ///< something the book does not list
  std::vector<Finding> findings;      ///< likeliest first; those that the evidence bears on
  std::optional<NextTest> next_test;  ///< the one that tells most a minute about the whole
  std::size_t signs_used = 0;
  std::vector<std::string>
      cautions;            ///< hold whatever is done next: of what was found, and of dangerous faults
  std::string first_step;  ///< makes it safe: where it is not empty, no test is put before it
  std::vector<Gap> gaps;   ///< what keeps it from being called sound
  std::vector<std::string> unsettled;                   ///< so does what a person found: a sentence each
  std::vector<std::string> out_of_limits;               ///< and readings that the book cannot weigh
  std::vector<std::string> silent;                      ///< names of captures by which nothing came in
  std::vector<std::pair<std::string, double>> ranking;  ///< every fault's id and probability, likeliest first
};

struct Options {
  std::size_t most_findings = 5;
  double least_probability = 0.02;  ///< findings below are left out
  bool next_tests = true;
  std::set<std::string> barred{};  ///< faults of these places are ruled out: the fault comes in elsewhere
};

/// What a diagnosis rests on.
struct Job {
  std::vector<Capture> captures;
  std::vector<Evidence> told{};  ///< as seen or metered; goes before what the captures say of the same sign
  Site site{};
};

/// The job's evidence: what was told, then what its captures show.
[[nodiscard]] std::vector<Evidence> evidence_of(const FaultBook& book, const Job& job);
[[nodiscard]] Diagnosis diagnose(const FaultBook& book, const Job& job, const Options& options = {});

/// True where nothing wrong is likelier than not, the evidence leaves no gap, nobody saw or metered a fault
/// and no reading that the book cannot weigh is out of its limits: only then is it "sound".
[[nodiscard]] bool shown_sound(const Diagnosis& diagnosis);

/// What this evidence leaves open, view by view; empty: enough was shown to clear a job by. For guided jobs
/// that pass what they were given: a pass on these captures holds only without gaps.
[[nodiscard]] std::vector<Gap> gaps(const FaultBook& book, const std::vector<Evidence>& evidence);

/// @param evidence as from gather() and parse_observed(); at most one a sign (later ones are ignored).
[[nodiscard]] Diagnosis diagnose(const FaultBook& book, const std::vector<Evidence>& evidence,
                                 const Options& options = {});

/// One line of the sum over all that may be the case.
struct Term {
  std::string what;
  double log_weight = 0;   ///< ln of its weight against nothing wrong: odds before times how much likelier
  double probability = 0;  ///< its weight over the sum of all
};

/// The whole chain for one fault, for `diagnose --explain`.
struct Explanation {
  std::string fault, label;
  double prior = 0;          ///< as in the book
  double probability = 0;    ///< after the evidence
  double nats = 0;           ///< ln of how much likelier all evidence is with it than with nothing wrong
  double severity = 0;       ///< posterior mean, if it is there
  std::string variant;       ///< likeliest way it shows itself
  std::vector<Bearing> all;  ///< every piece of evidence, in the book's order
  std::vector<Term> sum;     ///< nothing wrong, not in the book, this fault alone, beside another, all others
  std::vector<Bearing> rivals;  ///< the likeliest other faults; nats: ln of their probability over this one's
};
/// Throws Error(Usage) for a fault the book does not have, naming those near it.
[[nodiscard]] Explanation explain(const FaultBook& book, const std::vector<Evidence>& evidence,
                                  const std::string& fault);

}  // namespace linebench::diagnose
