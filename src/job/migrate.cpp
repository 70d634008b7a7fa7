// The store's tables, version by version. A version that has been shipped is never edited: a change is a new
// step at the end, so that every store ever made can be brought up to date.
#include <fmt/format.h>

#include <array>
#include <linebench/base/error.hpp>

#include "database.hpp"

namespace linebench::job {
namespace {

// "lbjs" as a number: tells a job store from any other SQLite file.
constexpr std::int64_t application_id = 0x6c626a73;

constexpr std::array steps = {
    R"sql(
CREATE TABLE site(
  uid TEXT PRIMARY KEY, name TEXT NOT NULL UNIQUE COLLATE NOCASE, address TEXT NOT NULL DEFAULT '',
  changed_at TEXT NOT NULL) STRICT;
CREATE TABLE path(
  uid TEXT PRIMARY KEY, site TEXT NOT NULL REFERENCES site(uid), name TEXT NOT NULL COLLATE NOCASE,
  "from" TEXT NOT NULL DEFAULT '', "to" TEXT NOT NULL DEFAULT '', cable TEXT NOT NULL DEFAULT '', length_m REAL,
  changed_at TEXT NOT NULL, UNIQUE(site, name)) STRICT;
CREATE TABLE station(
  uid TEXT PRIMARY KEY, type TEXT NOT NULL COLLATE NOCASE, serial TEXT NOT NULL COLLATE NOCASE,
  UNIQUE(type, serial)) STRICT;
CREATE TABLE job(
  uid TEXT PRIMARY KEY, ref TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, title TEXT NOT NULL, complaint TEXT NOT NULL,
  site TEXT REFERENCES site(uid), station TEXT REFERENCES station(uid), done INTEGER NOT NULL DEFAULT 0,
  outcome TEXT NOT NULL DEFAULT '', reference INTEGER NOT NULL DEFAULT 0, opened_at TEXT NOT NULL,
  changed_at TEXT NOT NULL, program TEXT NOT NULL) STRICT;
CREATE INDEX job_opened ON job(opened_at);
CREATE INDEX job_station ON job(station);
CREATE TABLE capture(
  uid TEXT PRIMARY KEY, job TEXT NOT NULL REFERENCES job(uid), label TEXT NOT NULL, path TEXT, file TEXT NOT NULL,
  sha256 TEXT NOT NULL, bytes INTEGER NOT NULL, view TEXT NOT NULL, facts TEXT NOT NULL, verdict TEXT NOT NULL,
  limit_set TEXT NOT NULL, missing TEXT NOT NULL, added_at TEXT NOT NULL) STRICT;
CREATE INDEX capture_job ON capture(job);
CREATE TABLE reading(
  capture TEXT NOT NULL REFERENCES capture(uid), position INTEGER NOT NULL, id TEXT NOT NULL, value REAL,
  body TEXT NOT NULL, PRIMARY KEY(capture, position)) STRICT, WITHOUT ROWID;
CREATE TABLE finding(
  uid TEXT PRIMARY KEY, job TEXT NOT NULL REFERENCES job(uid), position INTEGER NOT NULL, fault TEXT NOT NULL,
  label TEXT NOT NULL, probability REAL NOT NULL, body TEXT NOT NULL) STRICT;
CREATE INDEX finding_job ON finding(job);
CREATE TABLE step(
  uid TEXT PRIMARY KEY, job TEXT NOT NULL REFERENCES job(uid), key TEXT NOT NULL, answer TEXT NOT NULL,
  at TEXT NOT NULL) STRICT;
CREATE INDEX step_job ON step(job);
CREATE TABLE note(
  uid TEXT PRIMARY KEY, job TEXT NOT NULL REFERENCES job(uid), text TEXT NOT NULL, at TEXT NOT NULL) STRICT;
CREATE INDEX note_job ON note(job);
CREATE TABLE mark(
  uid TEXT PRIMARY KEY, job TEXT NOT NULL REFERENCES job(uid), item TEXT NOT NULL, state TEXT NOT NULL,
  note TEXT NOT NULL, at TEXT NOT NULL) STRICT;
CREATE INDEX mark_job ON mark(job);
)sql",
    // What jobs are sorted by: the time they were opened, but never before a job that was there already, so
    // that a clock that was set back does not put the newest job under older ones.
    R"sql(
ALTER TABLE job ADD COLUMN order_at TEXT NOT NULL DEFAULT '';
UPDATE job SET order_at = opened_at;
CREATE INDEX job_order ON job(order_at);
)sql",
    // What a capture was taken and judged for, so that an answer that is changed later is judged anew.
    R"sql(
ALTER TABLE capture ADD COLUMN taken_as TEXT NOT NULL DEFAULT '';
ALTER TABLE capture ADD COLUMN judged_as TEXT NOT NULL DEFAULT '';
)sql",
    // What a job's records are in order by: the time they were kept, but always after what was there already.
    // Rows come in another order from another laptop's store; this stays the same in both.
    R"sql(
ALTER TABLE step ADD COLUMN order_ms INTEGER NOT NULL DEFAULT 0;
ALTER TABLE note ADD COLUMN order_ms INTEGER NOT NULL DEFAULT 0;
ALTER TABLE mark ADD COLUMN order_ms INTEGER NOT NULL DEFAULT 0;
ALTER TABLE capture ADD COLUMN order_ms INTEGER NOT NULL DEFAULT 0;
CREATE TEMP TABLE kept AS
  SELECT 'step' AS kind, rowid AS position, uid, job, at FROM step UNION ALL
  SELECT 'note', rowid, uid, job, at FROM note UNION ALL
  SELECT 'mark', rowid, uid, job, at FROM mark UNION ALL
  SELECT 'capture', rowid, uid, job, added_at FROM capture;
CREATE TEMP TABLE counted AS
  SELECT kind, uid, job, row_number() OVER (PARTITION BY kind, job ORDER BY position) AS n,
    coalesce(CAST(strftime('%s', at) AS INTEGER) * 1000 + CAST(substr(at, 21, 3) AS INTEGER), 0) AS ms FROM kept;
CREATE TEMP TABLE ordered AS
  SELECT kind, uid, n + max(ms - n) OVER (PARTITION BY kind, job ORDER BY n) AS order_ms FROM counted;
UPDATE step SET order_ms = o.order_ms FROM ordered o WHERE o.kind = 'step' AND o.uid = step.uid;
UPDATE note SET order_ms = o.order_ms FROM ordered o WHERE o.kind = 'note' AND o.uid = note.uid;
UPDATE mark SET order_ms = o.order_ms FROM ordered o WHERE o.kind = 'mark' AND o.uid = mark.uid;
UPDATE capture SET order_ms = o.order_ms FROM ordered o WHERE o.kind = 'capture' AND o.uid = capture.uid;
DROP TABLE temp.kept;
DROP TABLE temp.counted;
DROP TABLE temp.ordered;
)sql",
    // Which programs have a job open, so that a second one is told when it opens it.
    R"sql(
CREATE TABLE open_by(
  job TEXT NOT NULL, host TEXT NOT NULL, pid INTEGER NOT NULL, at TEXT NOT NULL,
  PRIMARY KEY(job, host, pid)) STRICT, WITHOUT ROWID;
)sql",
};

constexpr auto newest = static_cast<std::int64_t>(steps.size());

}  // namespace

std::int64_t version_of(const Database& db) {
  // Of one moment, as another program may be making it.
  db.execute("SAVEPOINT look");
  const std::int64_t mark = db.pragma("application_id");
  const std::int64_t version = db.pragma("user_version");
  const bool empty = mark == 0 && version == 0 && db.pragma("schema_version") == 0;
  db.execute("RELEASE look");
  if (!empty && mark != application_id) {
    throw unusable(fmt::format("the job store ({}): this is a database of another program; give another file",
                               db.file().string()));
  }
  if (version > newest) {
    throw unusable(fmt::format(
        "the job store ({}) was written by a newer version of this program (store version {}, this program "
        "knows {}); update the program",
        db.file().string(), version, newest));
  }
  return version;
}

void migrate(const Database& db) {
  const std::int64_t version = version_of(db);
  if (db.read_only()) {
    if (version < newest) {
      throw unusable(
          fmt::format("the job store ({}) is of an older version and read only; copy it to a folder "
                      "of your own, where it can be brought up to date",
                      db.file().string()));
    }
    return;
  }
  if (version == newest) return;
  Transaction t(db);
  // Another program may have been faster between the look above and the lock.
  for (auto v = db.pragma("user_version"); v < newest; ++v) {
    db.execute(steps[static_cast<std::size_t>(v)]);
    db.execute(fmt::format("PRAGMA user_version = {}", v + 1).c_str());
  }
  db.execute(fmt::format("PRAGMA application_id = {}", application_id).c_str());
  t.commit();
}

}  // namespace linebench::job
