// What a site job knows at a point of its route: only what was answered up to there, so that the same answers
// always lead the same way.
#pragma once

#include <linebench/check/flow.hpp>
#include <linebench/diagnose/compare.hpp>
#include <set>

namespace linebench::check {

struct SiteState {
  std::string seen, system;
  bool video = false;
  diagnose::SignalPath path;  ///< its parts' captures are named by their labels
  std::vector<diagnose::Capture> captures{};
  std::vector<diagnose::Evidence> told{};  ///< as seen or metered
  std::string evidence{};                  ///< names all of the above that a diagnosis rests on
  std::set<std::string> left_out{};        ///< tests that could not be made
  diagnose::Diagnosis diagnosis{};
  diagnose::Segment segment{};
  std::vector<const job::Capture*> at_part{};   ///< one a part; nullptr where nothing was measured
  std::optional<diagnose::Comparison> after{};  ///< before against after the last cure
  bool cured = false;

  [[nodiscard]] bool measured() const { return !captures.empty(); }
  /// Something is wrong with what was measured.
  [[nodiscard]] bool wrong() const { return measured() && diagnosis.nothing_wrong < 0.5; }
  /// One fault stands, in one part of the path or as near as it can be measured.
  [[nodiscard]] bool stands() const;
};

/// Diagnosis and segment from the captures and what was told.
void look(SiteState& state, const Knowledge& knowledge);

/// The path's parts from a line of text, separated by commas; empty names and doubles are dropped.
[[nodiscard]] std::vector<std::string> parts_of(const std::string& text);

/// What to do next, or nothing when no test is left that would tell more.
struct Proposal {
  enum class Kind { Measure, Trial, Capture } kind = Kind::Measure;
  std::size_t part = 0;       ///< Measure: at the end of this one
  diagnose::NextTest test{};  ///< Trial, Capture
};
/// By expected information a minute: a measurement halfway along the path tells one bit, the tests of the
/// book what the diagnosis says.
[[nodiscard]] std::optional<Proposal> propose(const SiteState& state);

/// The steps; `state` is what was known where they stopped.
[[nodiscard]] Step site_steps(Script& script, const Knowledge& knowledge, SiteState& state);

[[nodiscard]] report::Outcome outcome_of_state(const SiteState& state, const Words& words);

}  // namespace linebench::check
