// Copies of a store, and two laptops' stores made one.
#include <fmt/format.h>

#include <linebench/base/error.hpp>
#include <linebench/job/store.hpp>
#include <system_error>

#include "database.hpp"
#include "identity.hpp"

namespace linebench::job {
namespace {

namespace fs = std::filesystem;

void copy(sqlite3* to, const char* schema, const Database& from) {
  sqlite3_backup* backup = sqlite3_backup_init(to, schema, from.handle(), "main");
  if (backup == nullptr) from.fail(sqlite3_errcode(to));
  const int code = sqlite3_backup_step(backup, -1);
  (void)sqlite3_backup_finish(backup);
  if (code != SQLITE_DONE) from.fail(code);
}

// The other store as "other", brought up to date: a copy in memory, so that the original is never written to,
// and whatever ends this program leaves nothing behind.
void attach(const Database& db, const fs::path& original) {
  const Database other(original);
  (void)version_of(other);
  const Database current(":memory:");
  copy(current.handle(), "main", other);
  {
    Statement whole(current, "PRAGMA quick_check(1)");
    if (!whole.step() || whole.text(0) != "ok") other.fail(SQLITE_CORRUPT);
  }
  migrate(current);
  db.execute("ATTACH ':memory:' AS other");
  copy(db.handle(), "other", current);
}

int changed(const Database& db, const std::string& sql) {
  db.execute(sql.c_str());
  return static_cast<int>(db.changes());
}

// What is the same thing in both stores goes by our uid from here on.
void match(const Database& db) {
  db.execute(
      "CREATE TEMP TABLE same_site AS SELECT o.uid AS theirs, coalesce(s.uid, n.uid, o.uid) AS ours "
      "FROM other.site o LEFT JOIN main.site s ON s.uid = o.uid LEFT JOIN main.site n ON n.name = o.name;"
      "CREATE TEMP TABLE same_station AS SELECT o.uid AS theirs, coalesce(s.uid, n.uid, o.uid) AS ours "
      "FROM other.station o LEFT JOIN main.station s ON s.uid = o.uid "
      "LEFT JOIN main.station n ON n.type = o.type AND n.serial = o.serial;");
}

// What stands in each job: the last answer to a step and the last mark of an item.
std::string standing(const char* store) {
  const auto last = [&](const char* table, const char* item, const char* state) {
    return fmt::format(
        "SELECT job, '{1}' AS kind, {2} AS item, {3} AS state FROM (SELECT *, row_number() OVER "
        "(PARTITION BY job, {2} ORDER BY order_ms DESC, uid DESC) AS nth_last FROM {0}.{1}) WHERE nth_last = "
        "1",
        store, table, item, state);
  };
  return last("step", "key", "answer") + " UNION ALL " + last("mark", "item", "state");
}

// The jobs that are in both stores: which of them the other store knows in a later state, which of them get
// something, and what stands in the later state of each.
void look_at_common(const Database& db) {
  db.execute(
      "CREATE TEMP TABLE later AS SELECT o.uid FROM other.job o JOIN main.job j ON j.uid = o.uid "
      "WHERE o.changed_at > j.changed_at;"
      "CREATE TEMP TABLE changing AS SELECT uid FROM later UNION "
      "SELECT job FROM other.step WHERE uid NOT IN (SELECT uid FROM main.step) UNION "
      "SELECT job FROM other.note WHERE uid NOT IN (SELECT uid FROM main.note) UNION "
      "SELECT job FROM other.mark WHERE uid NOT IN (SELECT uid FROM main.mark) UNION "
      "SELECT job FROM other.capture WHERE uid NOT IN (SELECT uid FROM main.capture);"
      "DELETE FROM temp.changing WHERE uid NOT IN (SELECT uid FROM main.job);");
  db.execute(
      fmt::format("CREATE TEMP TABLE stood AS SELECT * FROM ({}) WHERE job IN (SELECT uid FROM changing "
                  "EXCEPT SELECT uid FROM later) UNION ALL "
                  "SELECT * FROM ({}) WHERE job IN (SELECT uid FROM later)",
                  standing("main"), standing("other"))
          .c_str());
}

int count_changing(const Database& db) {
  Statement s(db, "SELECT count(*) FROM changing");
  s.step();
  return static_cast<int>(s.integer(0));
}

// A job that was finished on one laptop while the other one's answers stand now was not finished with those.
std::vector<std::string> reopen_changed(const Database& db) {
  Statement s(db, fmt::format("UPDATE main.job SET done = 0, outcome = '' WHERE done = 1 AND uid IN "
                              "(SELECT job FROM (SELECT * FROM ({}) WHERE job IN (SELECT uid FROM changing) "
                              "EXCEPT SELECT * FROM stood)) RETURNING uid",
                              standing("main")));
  std::vector<std::string> uids;
  while (s.step()) uids.push_back(s.text(0));
  return uids;
}

}  // namespace

void Store::copy_to(const fs::path& file) const {
  std::error_code ignored;
  if (fs::exists(file, ignored)) {
    throw bad_usage(fmt::format("{} is there already; give another name", file.string()));
  }
  Statement(*db_, "VACUUM INTO ?").bind(file.string()).run();
}

Merged Store::merge(const fs::path& other) {
  std::error_code ignored;
  if (!fs::exists(other, ignored)) {
    throw unusable(
        fmt::format("{}: there is no such file; give the other laptop's job store", other.string()));
  }
  Merged m;
  std::vector<std::string> reopened;
  try {
    attach(*db_, other);
    Transaction t(*db_);
    match(*db_);
    m.sites = changed(*db_,
                      "INSERT OR IGNORE INTO main.site SELECT * FROM other.site WHERE uid IN "
                      "(SELECT theirs FROM same_site WHERE theirs = ours)");
    m.stations = changed(*db_,
                         "INSERT OR IGNORE INTO main.station SELECT * FROM other.station WHERE uid IN "
                         "(SELECT theirs FROM same_station WHERE theirs = ours)");
    db_->execute(
        "INSERT INTO main.path SELECT p.uid, s.ours, p.name, p.\"from\", p.\"to\", p.cable, p.length_m, "
        "p.changed_at "
        "FROM other.path p JOIN same_site s ON s.theirs = p.site WHERE true "
        "ON CONFLICT DO UPDATE SET \"from\" = excluded.\"from\", \"to\" = excluded.\"to\", cable = "
        "excluded.cable, "
        "length_m = excluded.length_m, changed_at = excluded.changed_at WHERE excluded.changed_at > "
        "changed_at");
    look_at_common(*db_);
    db_->execute(
        "UPDATE main.job SET done = o.done, outcome = o.outcome, reference = o.reference, "
        "title = o.title, complaint = o.complaint, changed_at = o.changed_at, "
        "site = coalesce((SELECT ours FROM same_site WHERE theirs = o.site), main.job.site), "
        "station = coalesce((SELECT ours FROM same_station WHERE theirs = o.station), main.job.station) "
        "FROM other.job o WHERE o.uid = main.job.uid AND o.uid IN (SELECT uid FROM later)");
    // The findings of the later state replace those of the earlier.
    db_->execute("DELETE FROM main.finding WHERE job IN (SELECT uid FROM later)");
    // Two jobs of one day whose short names meet: the newcomer's gets more of its uid.
    m.jobs = changed(
        *db_,
        "INSERT INTO main.job SELECT o.uid, CASE WHEN EXISTS(SELECT 1 FROM main.job j WHERE j.ref = o.ref) "
        "THEN "
        "substr(o.ref, 1, 9) || substr(o.uid, 1, 8) || substr(o.uid, 10, 4) ELSE o.ref END, o.kind, o.title, "
        "o.complaint, s.ours, t.ours, o.done, o.outcome, o.reference, o.opened_at, o.changed_at, o.program, "
        "o.order_at "
        "FROM other.job o LEFT JOIN same_site s ON s.theirs = o.site "
        "LEFT JOIN same_station t ON t.theirs = o.station "
        "WHERE o.uid NOT IN (SELECT uid FROM main.job) ORDER BY o.rowid");
    db_->execute(
        "INSERT OR IGNORE INTO main.finding SELECT f.* FROM other.finding f JOIN other.job o ON o.uid = "
        "f.job JOIN main.job j ON j.uid = f.job WHERE j.changed_at = o.changed_at ORDER BY f.rowid");
    m.captures = changed(*db_, "INSERT OR IGNORE INTO main.capture SELECT * FROM other.capture");
    db_->execute("INSERT OR IGNORE INTO main.reading SELECT * FROM other.reading;");
    for (const char* table : {"step", "note", "mark"})
      db_->execute(fmt::format("INSERT OR IGNORE INTO main.{0} SELECT * FROM other.{0}", table).c_str());
    m.updated = count_changing(*db_);
    reopened = reopen_changed(*db_);
    for (const char* table : {"same_site", "same_station", "later", "changing", "stood"})
      db_->execute(fmt::format("DROP TABLE temp.{}", table).c_str());
    t.commit();
  } catch (...) {
    sqlite3_exec(db_->handle(), "DETACH other", nullptr, nullptr, nullptr);
    throw;
  }
  db_->execute("DETACH other");
  for (const std::string& uid : reopened) m.reopened.push_back(job(uid));
  return m;
}

}  // namespace linebench::job
