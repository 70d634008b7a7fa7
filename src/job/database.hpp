// A thin hold on SQLite: connection, statements and transactions that cannot be forgotten, and errors that
// say what to do.
#pragma once

#include <sqlite3.h>

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace linebench::job {

class Database;

/// A prepared statement; reset and freed by itself.
class Statement {
 public:
  Statement(const Database& db, std::string_view sql);
  ~Statement();
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;

  /// Binds the next parameter.
  Statement& bind(std::string_view text);
  Statement& bind(const std::string& text) { return bind(std::string_view(text)); }
  Statement& bind(double value);
  Statement& bind(std::int64_t value);
  Statement& bind_null();
  Statement& bind(const std::optional<std::string>& text);
  Statement& bind(const std::optional<double>& value);

  /// True while there is a row.
  bool step();
  /// step() to the end, for statements that give no rows.
  void run();

  [[nodiscard]] std::string text(int column) const;
  [[nodiscard]] std::optional<std::string> maybe_text(int column) const;
  [[nodiscard]] double number(int column) const;
  [[nodiscard]] std::optional<double> maybe_number(int column) const;
  [[nodiscard]] std::int64_t integer(int column) const;

 private:
  const Database& db_;
  sqlite3_stmt* handle_ = nullptr;
  int next_ = 1;
};

class Database {
 public:
  /// Opens for writing, or for reading where the file or its folder cannot be written.
  explicit Database(std::filesystem::path file);
  ~Database();
  Database(const Database&) = delete;
  Database& operator=(const Database&) = delete;

  /// Turns on the write-ahead log. Waits by itself: of programs that make one new store at once SQLite gives
  /// all but one up at this step without asking the busy timeout, as waiting could lock them up for good
  /// [SQLite: "sqlite3_busy_handler"].
  void keep_log() const;
  void execute(const char* sql) const;
  [[nodiscard]] std::int64_t pragma(const char* name) const;
  [[nodiscard]] bool read_only() const { return read_only_; }
  [[nodiscard]] const std::filesystem::path& file() const { return file_; }
  [[nodiscard]] sqlite3* handle() const { return handle_; }
  [[nodiscard]] std::int64_t changes() const { return sqlite3_changes64(handle_); }
  /// Throws Error(Unusable) with the store's name, the cause and what to do.
  [[noreturn]] void fail(int code) const;

 private:
  // Where a log stands beside it, the library takes the length from there and goes on with what is left.
  void refuse_cut_short() const;

  std::filesystem::path file_;
  sqlite3* handle_ = nullptr;
  bool read_only_ = false;
};

/// Rolled back unless commit() was reached.
class Transaction {
 public:
  explicit Transaction(const Database& db);
  ~Transaction();
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  void commit();

 private:
  const Database& db_;
  bool open_ = true;
};

/// How old the store's tables are; 0: there are none yet. Throws Error(Unusable): not a job store, or a newer
/// one.
[[nodiscard]] std::int64_t version_of(const Database& db);
/// Brings the store's tables up to date. Throws as version_of().
void migrate(const Database& db);

}  // namespace linebench::job
