// The accuracy card: what each reading achieves over a sweep of levels, frequencies, noise, rates and
// lengths, against what it claims and against the least that any estimator could do [Cramer-Rao].
//
// A case is a kind of capture that is made anew for each trial, with all its truths; what it takes is the
// whole measurement a user gets, not a part of it. Rows, table and rules are made from the trials here.
#pragma once

#include <functional>
#include <linebench/base/reading.hpp>
#include <random>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace accuracy {

/// One reading of one trial beside its truth.
struct Found {
  std::string id;          ///< of the catalogue: numbers and colours as N and COLOUR
  double measured = 0;     ///< NaN: no number was given
  double uncertainty = 0;  ///< k = 2
  double truth = 0;
  double bound = 0;  ///< least standard deviation of an unbiased estimator [Cramer-Rao]; 0: none known
};

/// Collects what a trial's readings say of the truths it knows.
class Trial {
 public:
  explicit Trial(linebench::Readings readings) : readings_(std::move(readings)) {}
  /// @param id full id, with any suffix.
  void expect(std::string_view id, double truth, double bound = 0);
  /// The point of a curve that lies nearest to x, within 2 %; the truth is asked for where it lies.
  void expect_point(std::string_view id, double x, const std::function<double(double)>& truth);
  [[nodiscard]] std::vector<Found> found() && { return std::move(found_); }

 private:
  linebench::Readings readings_;
  std::vector<Found> found_;
};

/// A trial's own draw of what is swept.
class Draw {
 public:
  explicit Draw(unsigned seed) : random_(seed) {}
  double between(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random_);
  }
  double octaves(double low, double high);  ///< even on a log scale
  double one_of(std::initializer_list<double> list);
  bool coin() { return (random_() & 1U) != 0; }

 private:
  std::mt19937_64 random_;
};

struct Case {
  std::string view;   ///< audio, waveform, lowband, picture
  std::string sweep;  ///< what is swept, for the table
  int trials = 0;
  std::function<std::vector<Found>(unsigned seed)> run;
  bool quick = false;  ///< run by every run of the tests
  std::string key{};   ///< in the table: the view's letter and a number; all_cases() sets it
};
[[nodiscard]] std::vector<Case> all_cases();
void add_tone_cases(std::vector<Case>& to);
void add_noise_and_hum_cases(std::vector<Case>& to);
void add_pair_cases(std::vector<Case>& to);
void add_path_cases(std::vector<Case>& to);
void add_waveform_cases(std::vector<Case>& to);
void add_waveform_path_cases(std::vector<Case>& to);
void add_lowband_cases(std::vector<Case>& to);
void add_picture_cases(std::vector<Case>& to);

/// A reading of the catalogue that has no figures, and why.
struct Without {
  std::string_view view;
  std::string_view id;
  std::string_view why;
};
[[nodiscard]] std::span<const Without> without_figures();

struct Row {
  std::string view, id, sweep, unit;  ///< sweep: the case's key
  int tried = 0;                      ///< trials
  int given = 0;                      ///< readings with a number
  int wanted = 0;                     ///< readings there should be
  double rms = 0;
  double worst = 0;
  double claimed = 0;  ///< mean, k = 2
  double coverage = 0;
  double times_bound = 0;  ///< rms of error over bound; 0: no bound
};
[[nodiscard]] std::vector<Row> rows_of(const Case& c);

/// What is wrong with a row: its truth lies outside the claim more often than chance explains (0.93 less two
/// standard deviations of the share), or most trials gave no number. Empty where nothing is.
[[nodiscard]] std::string wrong_with(const Row& row);

/// One line of the table for a row; the whole table, readings without figures at its end; what its keys mean.
[[nodiscard]] std::string line_of(const Row& row);
[[nodiscard]] std::string table(const std::vector<Row>& rows);
[[nodiscard]] std::string legend(const std::vector<Case>& cases);
/// The rows of a table written by table().
[[nodiscard]] std::vector<Row> rows_in(std::string_view markdown, const std::vector<Case>& cases);

/// Ids that have neither a row nor a reason, or both, "view id: what".
[[nodiscard]] std::vector<std::string> gaps(
    const std::vector<std::pair<std::string, std::string>>& with_rows);

}  // namespace accuracy
