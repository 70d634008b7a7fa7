// Opening a store and changing it.
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <csignal>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/base/reading_json.hpp>
#include <linebench/base/version.hpp>
#include <linebench/job/store.hpp>
#include <nlohmann/json.hpp>

#include "database.hpp"
#include "identity.hpp"

namespace linebench::job {

using nlohmann::json;

std::string_view to_string(JobKind kind) {
  switch (kind) {
    case JobKind::Site:
      return "site";
    case JobKind::Station:
      return "station";
    case JobKind::Feed:
      return "feed";
  }
  return "";
}

JobKind job_kind(std::string_view word) {
  for (const JobKind k : {JobKind::Site, JobKind::Station, JobKind::Feed}) {
    if (word == to_string(k)) return k;
  }
  throw bad_usage(fmt::format("no kind of job is called '{}'; there are site, station and feed", word));
}

namespace {

// Uid of the row with these natural keys, made when it is not there.
std::string site_uid(const Database& db, const std::string& name) {
  Statement(db, "INSERT OR IGNORE INTO site(uid, name, changed_at) VALUES(?, ?, ?)")
      .bind(new_uid())
      .bind(name)
      .bind(now())
      .run();
  Statement s(db, "SELECT uid FROM site WHERE name = ?");
  s.bind(name).step();
  return s.text(0);
}

std::string station_uid(const Database& db, const std::string& type, const std::string& serial) {
  Statement(db, "INSERT OR IGNORE INTO station(uid, type, serial) VALUES(?, ?, ?)")
      .bind(new_uid())
      .bind(type)
      .bind(serial)
      .run();
  Statement s(db, "SELECT uid FROM station WHERE type = ? AND serial = ?");
  s.bind(type).bind(serial).step();
  return s.text(0);
}

// A later change has a later time even where the clock was set back: merge() goes by it.
void touch(const Database& db, const Job& job) {
  Statement(db,
            "UPDATE job SET changed_at = CASE WHEN changed_at < ?1 THEN ?1 ELSE "
            "coalesce(strftime('%Y-%m-%dT%H:%M:%fZ', changed_at, '+0.001 seconds'), ?1) END WHERE uid = ?2")
      .bind(now())
      .bind(job.uid)
      .run();
  if (db.changes() != 1) throw unusable(fmt::format("job {} is no longer in the store", job.ref));
}

std::string host_name() {
  std::array<char, 256> name{};
  return ::gethostname(name.data(), name.size() - 1) == 0 ? name.data() : "";
}

// What /proc says of a process, `pid (name) state ...` [proc(5)]; empty: there is none.
struct Process {
  std::string name;
  char state = 0;
};

Process process_of(std::int64_t pid) {
  std::ifstream file(fmt::format("/proc/{}/stat", pid));
  std::string line;
  std::getline(file, line);
  const auto open = line.find('(');
  const auto close = line.rfind(')');  // a name may hold brackets
  if (open == std::string::npos || close == std::string::npos || close + 2 >= line.size()) return {};
  return {line.substr(open + 1, close - open - 1), line[close + 2]};
}

// A number is given to another process in time, and one that has ended keeps its own until it is asked after.
bool still_runs(std::int64_t pid) {
  if (::kill(static_cast<pid_t>(pid), 0) != 0 && errno == ESRCH) return false;
  const Process other = process_of(pid);
  if (other.state == 0) return true;  // cannot be told
  return other.state != 'Z' && other.state != 'X' && other.name == process_of(::getpid()).name;
}

// Where the next of a job's records stands: at its time, but after all that are there, whatever the clock
// did.
std::int64_t next_order(const Database& db, const char* table, const Job& job) {
  Statement s(db, fmt::format("SELECT coalesce(max(order_ms), 0) FROM {} WHERE job = ?", table));
  s.bind(job.uid).step();
  return std::max(now_ms(), s.integer(0) + 1);
}

void add_step(const Database& db, const Job& job, const std::string& key, const std::string& answer) {
  Statement(db, "INSERT INTO step(uid, job, key, answer, at, order_ms) VALUES(?, ?, ?, ?, ?, ?)")
      .bind(new_uid())
      .bind(job.uid)
      .bind(key)
      .bind(answer)
      .bind(now())
      .bind(next_order(db, "step", job))
      .run();
}

}  // namespace

Store::Store(const std::filesystem::path& file) : db_(std::make_unique<Database>(file)) {
  if (!db_->read_only()) {
    db_->keep_log();
    db_->execute("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON");
  }
  migrate(*db_);
}
Store::~Store() = default;
Store::Store(Store&&) noexcept = default;
Store& Store::operator=(Store&&) noexcept = default;

std::filesystem::path Store::usual_file() { return store_dir() / "jobs.sqlite"; }

bool Store::read_only() const { return db_->read_only(); }

Job Store::open_job(const NewJob& wanted) {
  const std::string uid = new_uid();
  const std::string at = now();
  {
    Transaction t(*db_);
    std::optional<std::string> site;
    std::optional<std::string> station;
    if (!wanted.site.empty()) site = site_uid(*db_, wanted.site);
    if (!wanted.station_type.empty() || !wanted.station_serial.empty()) {
      station = station_uid(*db_, wanted.station_type, wanted.station_serial);
    }
    const std::string day = at.substr(0, 4) + at.substr(5, 2) + at.substr(8, 2);
    Statement(
        *db_,
        "INSERT INTO job(uid, ref, kind, title, complaint, site, station, opened_at, changed_at, program, "
        "order_at) VALUES(?, ?, ?, ?, ?, ?, ?, ?8, ?, ?, "
        "max(?8, coalesce((SELECT max(order_at) FROM job), '')))")
        .bind(uid)
        // Long enough that two jobs of one day on all laptops of a firm will not meet; merge() copes if they
        // do.
        .bind(day + "-" + uid.substr(0, 5))
        .bind(to_string(wanted.kind))
        .bind(wanted.title)
        .bind(wanted.complaint)
        .bind(site)
        .bind(station)
        .bind(at)
        .bind(at)
        .bind(version())
        .run();
    t.commit();
  }
  return job(uid);
}

void Store::finish(const Job& job, const std::string& outcome) {
  Transaction t(*db_);
  touch(*db_, job);
  Statement(*db_, "UPDATE job SET done = 1, outcome = ? WHERE uid = ?").bind(outcome).bind(job.uid).run();
  t.commit();
}

void Store::reopen(const Job& job) {
  Transaction t(*db_);
  touch(*db_, job);
  Statement(*db_, "UPDATE job SET done = 0, outcome = '' WHERE uid = ?").bind(job.uid).run();
  t.commit();
}

void Store::set_reference(const Job& job, bool reference) {
  Transaction t(*db_);
  touch(*db_, job);
  Statement(*db_, "UPDATE job SET reference = ? WHERE uid = ?")
      .bind(std::int64_t{reference})
      .bind(job.uid)
      .run();
  t.commit();
}

void Store::describe(const Job& job, const NewJob& known) {
  Transaction t(*db_);
  touch(*db_, job);
  const auto set = [&](const char* column, const std::string& value) {
    if (value.empty()) return;
    Statement(*db_, fmt::format("UPDATE job SET {} = ? WHERE uid = ?", column))
        .bind(value)
        .bind(job.uid)
        .run();
  };
  set("title", known.title);
  set("complaint", known.complaint);
  if (!known.site.empty()) set("site", site_uid(*db_, known.site));
  if (!known.station_type.empty() || !known.station_serial.empty())
    set("station", station_uid(*db_, known.station_type, known.station_serial));
  t.commit();
}

std::int64_t Store::steps_kept(const Job& job) const {
  Statement s(*db_, "SELECT count(*) FROM step WHERE job = ?");
  s.bind(job.uid).step();
  return s.integer(0);
}

void Store::refuse_if_answered(const Job& job, std::optional<std::int64_t> after) const {
  if (after && steps_kept(job) != *after)
    throw AnsweredElsewhere(fmt::format(
        "job {} was answered by another program meanwhile; nothing was kept of this answer", job.ref));
}

Capture Store::add(const Job& job, Capture c, const std::string& step, std::optional<std::int64_t> after) {
  c.uid = new_uid();
  c.added_at = now();
  Transaction t(*db_);
  refuse_if_answered(job, after);
  touch(*db_, job);
  Statement(
      *db_,
      "INSERT INTO capture(uid, job, label, path, file, sha256, bytes, view, facts, verdict, limit_set, "
      "missing, added_at, taken_as, judged_as, order_ms) VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "
      "?)")
      .bind(c.uid)
      .bind(job.uid)
      .bind(c.label)
      .bind(c.path)
      .bind(c.file.string())
      .bind(c.sha256)
      .bind(static_cast<std::int64_t>(c.bytes))
      .bind(c.view)
      .bind(json_text(facts_to_json(c.facts)))
      .bind(c.verdict)
      .bind(c.limit_set)
      .bind(json_text(json(c.missing)))
      .bind(c.added_at)
      .bind(c.taken_as)
      .bind(c.judged_as)
      .bind(next_order(*db_, "capture", job))
      .run();
  for (std::size_t i = 0; i < c.readings.size(); ++i) {
    const Reading& r = c.readings[i];
    const auto* number = std::get_if<double>(&r.value);
    Statement(*db_, "INSERT INTO reading(capture, position, id, value, body) VALUES(?, ?, ?, ?, ?)")
        .bind(c.uid)
        .bind(static_cast<std::int64_t>(i))
        .bind(r.id)
        .bind(number != nullptr ? std::optional<double>(*number) : std::nullopt)
        .bind(json_text(reading_to_json(r)))
        .run();
  }
  if (!step.empty()) add_step(*db_, job, step, c.uid);
  t.commit();
  return c;
}

void Store::set_findings(const Job& job, const std::vector<Finding>& findings) {
  Transaction t(*db_);
  touch(*db_, job);
  Statement(*db_, "DELETE FROM finding WHERE job = ?").bind(job.uid).run();
  for (std::size_t i = 0; i < findings.size(); ++i) {
    const Finding& f = findings[i];
    Statement(*db_,
              "INSERT INTO finding(uid, job, position, fault, label, probability, body) VALUES(?, ?, ?, ?, "
              "?, ?, ?)")
        .bind(new_uid())
        .bind(job.uid)
        .bind(static_cast<std::int64_t>(i))
        .bind(f.fault)
        .bind(f.label)
        .bind(f.probability)
        .bind(f.body)
        .run();
  }
  t.commit();
}

void Store::answer(const Job& job, const std::string& key, const std::string& answer,
                   std::optional<std::int64_t> after) {
  Transaction t(*db_);
  refuse_if_answered(job, after);
  touch(*db_, job);
  add_step(*db_, job, key, answer);
  t.commit();
}

std::optional<InUse> Store::enter_job(const Job& job) {
  const std::string host = host_name();
  const std::int64_t self = ::getpid();
  std::optional<InUse> other;
  std::vector<std::int64_t> gone;  // killed: they could not say that they left
  Transaction t(*db_);
  {
    Statement s(*db_, "SELECT pid, at FROM open_by WHERE job = ? AND host = ? AND pid <> ? ORDER BY at");
    s.bind(job.uid).bind(host).bind(self);
    while (s.step()) {
      const std::int64_t pid = s.integer(0);
      if (!still_runs(pid)) {
        gone.push_back(pid);
      } else if (!other) {
        other = InUse{pid, s.text(1)};
      }
    }
  }
  for (const std::int64_t pid : gone)
    Statement(*db_, "DELETE FROM open_by WHERE job = ? AND host = ? AND pid = ?")
        .bind(job.uid)
        .bind(host)
        .bind(pid)
        .run();
  Statement(*db_, "INSERT OR REPLACE INTO open_by(job, host, pid, at) VALUES(?, ?, ?, ?)")
      .bind(job.uid)
      .bind(host)
      .bind(self)
      .bind(now())
      .run();
  t.commit();
  return other;
}

void Store::leave_job(const Job& job) {
  Statement(*db_, "DELETE FROM open_by WHERE job = ? AND host = ? AND pid = ?")
      .bind(job.uid)
      .bind(host_name())
      .bind(std::int64_t{::getpid()})
      .run();
}

void Store::note(const Job& job, const std::string& text) {
  Transaction t(*db_);
  touch(*db_, job);
  Statement(*db_, "INSERT INTO note(uid, job, text, at, order_ms) VALUES(?, ?, ?, ?, ?)")
      .bind(new_uid())
      .bind(job.uid)
      .bind(text)
      .bind(now())
      .bind(next_order(*db_, "note", job))
      .run();
  t.commit();
}

void Store::mark(const Job& job, const Mark& mark) {
  Transaction t(*db_);
  touch(*db_, job);
  Statement(*db_, "INSERT INTO mark(uid, job, item, state, note, at, order_ms) VALUES(?, ?, ?, ?, ?, ?, ?)")
      .bind(new_uid())
      .bind(job.uid)
      .bind(mark.item)
      .bind(mark.state)
      .bind(mark.note)
      .bind(now())
      .bind(next_order(*db_, "mark", job))
      .run();
  t.commit();
}

void Store::set_path(const Site& site, const Path& path) {
  Transaction t(*db_);
  Statement(
      *db_,
      "INSERT INTO path(uid, site, name, \"from\", \"to\", cable, length_m, changed_at) "
      "VALUES(?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT(site, name) DO UPDATE SET \"from\" = excluded.\"from\", "
      "\"to\" = excluded.\"to\", cable = excluded.cable, length_m = excluded.length_m, "
      "changed_at = excluded.changed_at")
      .bind(new_uid())
      .bind(site.uid)
      .bind(path.name)
      .bind(path.from)
      .bind(path.to)
      .bind(path.cable)
      .bind(path.length_m)
      .bind(now())
      .run();
  t.commit();
}

}  // namespace linebench::job
