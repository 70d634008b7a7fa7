// Simulated jobs with what the diagnosis says of them. Seeds below `first_scoring_seed` may be looked at
// while the fault book is worked on; those from it on are only scored.
#pragma once

#include <cstdint>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/faultsim/installation.hpp>
#include <string>
#include <vector>

namespace faultsim_test {

constexpr std::uint64_t first_scoring_seed = 10'000'000;

struct Case {
  std::vector<std::string> faults;  ///< what was put in; empty: nothing
  bool visible = true;              ///< every one of them above its detection limit
  std::vector<linebench::diagnose::Evidence> evidence;
  linebench::diagnose::Diagnosis diagnosis;
  linebench::faultsim::Installation site;

  /// Place of a fault in the ranking, 0 = first.
  [[nodiscard]] int place(const std::string& fault) const;
  /// Likeliest first, over nothing wrong, something not listed and the faults.
  [[nodiscard]] std::string first() const;
  /// Somewhat likely to be sound, and nothing said to be left open, such as noise that clicks hide.
  [[nodiscard]] bool called_sound() const;
};

[[nodiscard]] const linebench::diagnose::FaultBook& shipped_book();

/// A job with these faults in it. Same seed, same job.
[[nodiscard]] Case make_case(const std::vector<std::string>& faults, std::uint64_t seed);

/// Faults drawn independently by the book's shares of jobs that have them.
[[nodiscard]] std::vector<std::string> draw_by_prior(std::uint64_t seed);

/// The same job once the suggested next test was made and its outcome typed in.
[[nodiscard]] linebench::diagnose::Diagnosis after_next_test(const Case& c, std::uint64_t seed);

/// Cases for each fault: the environment's LINEBENCH_FAULTSIM_CASES, else `usual` with LINEBENCH_TEST_LONG, a
/// third of them without.
[[nodiscard]] int cases_each(int usual);
/// First seed: LINEBENCH_FAULTSIM_SEED where it is set; scoring seeds, or from 0 where
/// LINEBENCH_FAULTSIM_TUNING is set.
[[nodiscard]] std::uint64_t first_seed();

}  // namespace faultsim_test
