#include "database.hpp"

#include <fmt/format.h>

#include <chrono>
#include <cstdint>
#include <linebench/base/error.hpp>
#include <system_error>
#include <thread>
#include <utility>

namespace linebench::job {
namespace {

namespace fs = std::filesystem;

// How long one program waits for another that is writing.
constexpr int busy_ms = 10'000;

constexpr const char* damaged =
    "the file is damaged or was cut short; move it away and put a copy in its place (`jobs copy` makes one), "
    "or "
    "begin a new one";

std::string advice(int code) {
  // A file or its log that ends too early is no fault of the disk.
  if (code == SQLITE_IOERR_SHORT_READ) return damaged;
  switch (code & 0xff) {
    case SQLITE_FULL:
      return "the disk is full; free some space and do this again, what was shown before is kept";
    case SQLITE_READONLY:
      return "it is read only; copy it to a folder of your own or change its permissions";
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return "another program has held it for too long; close that one and do this again";
    case SQLITE_NOTADB:
      return "this is not a job store; give the right file or move this one away";
    case SQLITE_CORRUPT:
      return damaged;
    case SQLITE_CANTOPEN:
      return "it cannot be opened; check that its folder is there and that you may use it";
    case SQLITE_IOERR:
      return "the disk gave an error; check the disk, then do this again";
    default:
      return "please report it";
  }
}

// A write-ahead log with something in it must be read too, which a purely read-only opening cannot.
bool log_waits(const fs::path& file) {
  std::error_code ignored;
  const auto size = fs::file_size(file.string() + "-wal", ignored);
  return !ignored && size > 0;
}

std::string uri_of(const fs::path& file, const char* parameters) {
  std::string out = "file:";
  for (const char c : fs::absolute(file).string()) {
    const bool plain = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') ||
                       c == '/' || c == '.' || c == '-' || c == '_';
    out += plain ? std::string(1, c) : fmt::format("%{:02X}", static_cast<unsigned char>(c));
  }
  return out + parameters;
}

}  // namespace

Statement::Statement(const Database& db, std::string_view sql) : db_(db) {
  const int code =
      sqlite3_prepare_v2(db.handle(), sql.data(), static_cast<int>(sql.size()), &handle_, nullptr);
  if (code != SQLITE_OK) db.fail(code);
}

Statement::~Statement() { sqlite3_finalize(handle_); }

Statement& Statement::bind(std::string_view text) {
  sqlite3_bind_text64(handle_, next_++, text.data(), text.size(), SQLITE_TRANSIENT, SQLITE_UTF8);
  return *this;
}
Statement& Statement::bind(double value) {
  sqlite3_bind_double(handle_, next_++, value);
  return *this;
}
Statement& Statement::bind(std::int64_t value) {
  sqlite3_bind_int64(handle_, next_++, value);
  return *this;
}
Statement& Statement::bind_null() {
  sqlite3_bind_null(handle_, next_++);
  return *this;
}
Statement& Statement::bind(const std::optional<std::string>& text) {
  return text ? bind(std::string_view(*text)) : bind_null();
}
Statement& Statement::bind(const std::optional<double>& value) { return value ? bind(*value) : bind_null(); }

bool Statement::step() {
  const int code = sqlite3_step(handle_);
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  db_.fail(code);
}

void Statement::run() {
  while (step()) {
  }
}

std::string Statement::text(int column) const {
  const auto* p = sqlite3_column_text(handle_, column);
  if (p == nullptr) return {};
  return {reinterpret_cast<const char*>(p), static_cast<std::size_t>(sqlite3_column_bytes(handle_, column))};
}
std::optional<std::string> Statement::maybe_text(int column) const {
  if (sqlite3_column_type(handle_, column) == SQLITE_NULL) return std::nullopt;
  return text(column);
}
double Statement::number(int column) const { return sqlite3_column_double(handle_, column); }
std::optional<double> Statement::maybe_number(int column) const {
  if (sqlite3_column_type(handle_, column) == SQLITE_NULL) return std::nullopt;
  return number(column);
}
std::int64_t Statement::integer(int column) const { return sqlite3_column_int64(handle_, column); }

Database::Database(fs::path file) : file_(std::move(file)) {
  std::error_code ignored;
  // The library takes a file of no length for a new one, and throws its log away.
  const auto size = fs::file_size(file_, ignored);
  if (!ignored && size == 0 && log_waits(file_)) fail(SQLITE_CORRUPT);
  if (file_.has_parent_path()) fs::create_directories(file_.parent_path(), ignored);
  int code = sqlite3_open_v2(file_.c_str(), &handle_, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, nullptr);
  if (code == SQLITE_OK && sqlite3_db_readonly(handle_, "main") == 0) {
    sqlite3_extended_result_codes(handle_, 1);
    sqlite3_busy_timeout(handle_, busy_ms);
    // The log's files stand beside the store, so its folder must take files too: the first look shows.
    code = sqlite3_exec(handle_, "PRAGMA schema_version", nullptr, nullptr, nullptr);
  } else if (code == SQLITE_OK) {
    code = SQLITE_READONLY;
  }
  if ((code & 0xff) == SQLITE_READONLY || (code & 0xff) == SQLITE_CANTOPEN) {
    sqlite3_close(handle_);
    handle_ = nullptr;
    if (!fs::exists(file_, ignored)) fail(code);
    if (log_waits(file_)) {
      throw unusable(fmt::format(
          "the job store ({}) cannot be read: it was left in the middle of work and its folder is read only; "
          "copy it with its -wal file to a folder of your own",
          file_.string()));
    }
    read_only_ = true;
    code = sqlite3_open_v2(uri_of(file_, "?immutable=1").c_str(), &handle_,
                           SQLITE_OPEN_READONLY | SQLITE_OPEN_URI, nullptr);
  }
  try {
    if (code != SQLITE_OK) fail(code);
    if (!read_only_) refuse_cut_short();
  } catch (...) {
    sqlite3_close(handle_);
    throw;
  }
}

Database::~Database() { sqlite3_close(handle_); }

void Database::refuse_cut_short() const {
  std::error_code ignored;
  const auto size = static_cast<std::int64_t>(fs::file_size(file_, ignored));
  if (ignored || size >= pragma("page_count") * pragma("page_size")) return;
  // The pages that are not in the file may all be in its log.
  Statement s(*this, "PRAGMA quick_check(1)");
  if (!s.step() || s.text(0) == "ok") return;
  // What is left is not written to: whoever wants to rescue it finds it as it was.
  sqlite3_db_config(handle_, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, nullptr);
  fail(SQLITE_CORRUPT);
}

void Database::keep_log() const {
  const auto until = std::chrono::steady_clock::now() + std::chrono::milliseconds(busy_ms);
  while (true) {
    const int code = sqlite3_exec(handle_, "PRAGMA journal_mode = WAL", nullptr, nullptr, nullptr);
    if (code == SQLITE_OK) return;
    if ((code & 0xff) != SQLITE_BUSY || std::chrono::steady_clock::now() >= until) fail(code);
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
}

void Database::execute(const char* sql) const {
  const int code = sqlite3_exec(handle_, sql, nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) fail(code);
}

std::int64_t Database::pragma(const char* name) const {
  Statement s(*this, fmt::format("PRAGMA {}", name));
  return s.step() ? s.integer(0) : 0;
}

void Database::fail(int code) const {
  const bool latest = handle_ != nullptr && (sqlite3_errcode(handle_) & 0xff) == (code & 0xff);
  const std::string said = latest ? sqlite3_errmsg(handle_) : sqlite3_errstr(code);
  throw unusable(fmt::format("the job store ({}): {}: {}", file_.string(), said, advice(code)));
}

Transaction::Transaction(const Database& db) : db_(db) {
  if (db.read_only()) db.fail(SQLITE_READONLY);
  db.execute("BEGIN IMMEDIATE");
}

Transaction::~Transaction() {
  if (open_) sqlite3_exec(db_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
}

void Transaction::commit() {
  db_.execute("COMMIT");
  open_ = false;
}

}  // namespace linebench::job
