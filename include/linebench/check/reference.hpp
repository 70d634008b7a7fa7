// A station against good ones of its type, and against itself on its earlier returns.
#pragma once

#include <linebench/job/records.hpp>
#include <linebench/report/job_page.hpp>
#include <map>
#include <string>
#include <vector>

namespace linebench::check {

struct Work;

/// A station's earlier job: the last capture of each test, by the test's key.
struct PastStation {
  job::Job job;
  std::map<std::string, job::Capture> tests;
};
[[nodiscard]] PastStation past_station(const Work& work);

/// Probability that a Student-t variable of `dof` degrees of freedom lies further from 0 than t.
/// Finite sums of Abramowitz and Stegun 26.7.3 and 26.7.4; dof >= 1.
[[nodiscard]] double student_beyond(double t, int dof);

/// A reading that good units of the type do not show.
struct Unlike {
  std::string test;  ///< key
  std::string label, unit;
  double value = 0, mean = 0, spread = 0;  ///< spread: standard deviation of the good units
  int units = 0;
  bool fails = false;  ///< out of its limit as well, which is told before
};

/// A reading is unlike the good units' when it falls out of their prediction interval, its own uncertainty
/// added, at a chance of 1 % for the whole comparison (divided by the number of readings compared). Judged
/// numbers and each point of a response are compared; at least three good units are needed.
[[nodiscard]] std::vector<Unlike> unlike_reference(const std::map<std::string, const job::Capture*>& unit,
                                                   const std::vector<PastStation>& good);

/// How many good units there are of each of these tests at least.
[[nodiscard]] int reference_units(const std::map<std::string, const job::Capture*>& unit,
                                  const std::vector<PastStation>& good);

/// The judged numbers of a station over its returns, the last six of them; no rows for fewer than two.
/// @param title, text of the table. @param returns oldest first, this job last.
[[nodiscard]] report::PaperTable trend_table(const std::string& title, const std::string& text,
                                             const std::vector<PastStation>& returns);

}  // namespace linebench::check
