// The job store: one SQLite file that survives a crash or a power cut at any point. A call that has returned
// is on the disk (write-ahead log, synchronous = FULL), so nothing that was shown is ever lost.
#pragma once

#include <filesystem>
#include <linebench/base/error.hpp>
#include <linebench/job/records.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace linebench::job {

class Database;  // src/job/database.hpp

/// Which jobs are wanted. Empty fields ask for nothing; text matches in part, upper and lower case alike.
struct Query {
  std::string text{};    ///< in title, complaint, outcome or a note
  std::string site{};    ///< in the site's name
  std::string serial{};  ///< in the station's serial
  std::string fault{};   ///< in a finding's fault or label, or in a reading that was out of its limit
  std::string since{};   ///< "2026-11-01": opened on or after this day
  std::string until{};   ///< opened on or before this day
  std::optional<JobKind> kind{};
  std::optional<bool> done{};
};

struct NewJob {
  JobKind kind = JobKind::Site;
  std::string title{};
  std::string complaint{};
  std::string site{};          ///< name; found or made
  std::string station_type{};  ///< with serial: found or made
  std::string station_serial{};
};

/// How many records a merge brought in.
struct Merged {
  int jobs = 0;     ///< new here
  int updated = 0;  ///< were here, and the other store knew more of them
  int captures = 0;
  int sites = 0;
  int stations = 0;
  /// Were finished, but not with the answers of both that stand now: open again, to be gone through to the
  /// end.
  std::vector<Job> reopened{};
};

/// Another program answered a step of the same job meanwhile: what was about to be kept answers a question
/// that may no longer be asked.
class AnsweredElsewhere : public Error {
 public:
  explicit AnsweredElsewhere(const std::string& line) : Error(Exit::Unusable, line) {}
};

/// A program of this machine that has a job open.
struct InUse {
  std::int64_t pid = 0;
  std::string since;
};

/// Not for use from two threads at once; two programs on one store wait for each other.
class Store {
 public:
  /// The store at this file; made, with its folder, when it is not there. An older store is brought up to
  /// date in one transaction. A store that cannot be written is opened for reading; changes then throw.
  /// Throws Error(Unusable): not a job store, damaged, or from a newer version of the program.
  explicit Store(const std::filesystem::path& file);
  ~Store();
  Store(Store&&) noexcept;
  Store& operator=(Store&&) noexcept;

  /// store_dir()/jobs.sqlite.
  [[nodiscard]] static std::filesystem::path usual_file();

  [[nodiscard]] bool read_only() const;

  /// Every change below is one transaction. Throws Error(Unusable) naming the store: disk full, read only,
  /// locked by another program for more than 10 s.
  Job open_job(const NewJob& wanted);
  void finish(const Job& job, const std::string& outcome);
  void reopen(const Job& job);
  void set_reference(const Job& job, bool reference);
  /// Title, complaint, site and station as they are known by now; what is empty stays as it is.
  void describe(const Job& job, const NewJob& known);
  /// @param step the guided job's step it answers, in the same transaction; empty: none.
  /// @return with uid and time filled in.
  /// @param after how many answers were known when it was asked for. Throws AnsweredElsewhere when there are
  /// others by now.
  Capture add(const Job& job, Capture capture, const std::string& step = {},
              std::optional<std::int64_t> after = {});
  /// Replaces the job's findings.
  void set_findings(const Job& job, const std::vector<Finding>& findings);
  void answer(const Job& job, const std::string& key, const std::string& answer,
              std::optional<std::int64_t> after = {});
  void refuse_if_answered(const Job& job, std::optional<std::int64_t> after) const;  ///< as answer() does
  /// Says that this program has the job open, until leave_job() or its end, however that comes.
  /// @return another one that has; nothing is refused by it.
  std::optional<InUse> enter_job(const Job& job);
  void leave_job(const Job& job);
  void note(const Job& job, const std::string& text);
  void mark(const Job& job, const Mark& mark);
  void set_path(const Site& site, const Path& path);

  /// By its ref, the start of it or the end of it, or "last" (the first that jobs() gives). Throws
  /// Error(Usage) when none or several match, naming those.
  [[nodiscard]] Job job(const std::string& ref) const;
  /// Newest first: one opened here later comes before, also where the clock was set back in between.
  [[nodiscard]] std::vector<Job> jobs(const Query& query = {}) const;
  /// In the order added, with their readings when `readings`.
  [[nodiscard]] std::vector<Capture> captures(const Job& job, bool readings = true) const;
  [[nodiscard]] std::vector<Finding> findings(const Job& job) const;
  /// The last answer to each step, in the order first answered.
  [[nodiscard]] std::vector<Step> answers(const Job& job) const;
  /// Every answer ever given, in order.
  [[nodiscard]] std::vector<Step> steps(const Job& job) const;
  [[nodiscard]] std::int64_t steps_kept(const Job& job) const;  ///< how many steps() gives
  [[nodiscard]] std::vector<Note> notes(const Job& job) const;
  /// The last mark of each item.
  [[nodiscard]] std::vector<Mark> marks(const Job& job) const;
  [[nodiscard]] std::vector<Path> paths(const Site& site) const;

  /// The whole store as one file, consistent while others write. Throws when the file is there.
  void copy_to(const std::filesystem::path& file) const;
  /// Takes in what another store has and this one has not. Sites are the same when their names are, stations
  /// when type and serial are. A job in both keeps the later state and the captures, answers and notes of
  /// both; of two answers to one step the later stands, in whichever direction they are merged. Merging twice
  /// changes nothing.
  Merged merge(const std::filesystem::path& other);

 private:
  std::unique_ptr<Database> db_;
};

/// SHA-256 of a file's bytes, lower-case hex. Throws Error(Unusable) where it cannot be read.
[[nodiscard]] std::string sha256_of(const std::filesystem::path& file);

/// What became of a capture's file: "" when it is as it was measured, else a sentence (gone, changed).
[[nodiscard]] std::string file_state(const Capture& capture);

}  // namespace linebench::job
