// Looking things up in a store.
#include <fmt/format.h>

#include <linebench/base/error.hpp>
#include <linebench/base/reading_json.hpp>
#include <linebench/job/store.hpp>
#include <nlohmann/json.hpp>

#include "database.hpp"

namespace linebench::job {
namespace {

using nlohmann::json;

constexpr std::string_view job_columns =
    "SELECT j.uid, j.ref, j.kind, j.title, j.complaint, j.done, j.outcome, j.reference, j.opened_at, "
    "j.changed_at, "
    "j.program, s.uid, s.name, s.address, t.uid, t.type, t.serial "
    "FROM job j LEFT JOIN site s ON s.uid = j.site LEFT JOIN station t ON t.uid = j.station ";

JobKind stored_kind(const std::string& word) {
  try {
    return job_kind(word);
  } catch (const Error&) {
    throw unusable(fmt::format(
        "the job store: a job in it is of the kind '{}', which there is not; go back to a copy", word));
  }
}

Job job_of(const Statement& s) {
  Job j{.uid = s.text(0),
        .ref = s.text(1),
        .kind = stored_kind(s.text(2)),
        .title = s.text(3),
        .complaint = s.text(4),
        .site = std::nullopt,
        .station = std::nullopt,
        .done = s.integer(5) != 0,
        .outcome = s.text(6),
        .reference = s.integer(7) != 0,
        .opened_at = s.text(8),
        .changed_at = s.text(9),
        .program = s.text(10)};
  if (s.maybe_text(11)) j.site = Site{s.text(11), s.text(12), s.text(13)};
  if (s.maybe_text(14)) j.station = Station{s.text(14), s.text(15), s.text(16)};
  return j;
}

// A part of a text, with the signs that LIKE gives a meaning taken literally.
std::string containing(const std::string& part) {
  std::string out = "%";
  for (const char c : part) {
    if (c == '%' || c == '_' || c == '\\') out += '\\';
    out += c;
  }
  return out + "%";
}

// Does work with what stands in the store as JSON; what does not fit is the store's damage.
auto from_json(const std::string& text, const Database& db, const char* what, const auto& work) {
  try {
    return work(json::parse(text));
  } catch (const json::exception&) {  // said below
  } catch (const Error&) {
  }
  throw unusable(
      fmt::format("the job store ({}): a {} in it is damaged; go back to a copy", db.file().string(), what));
}

}  // namespace

Job Store::job(const std::string& ref) const {
  std::vector<Job> found;
  if (ref == "last") {
    Statement s(*db_, std::string(job_columns) + "ORDER BY j.order_at DESC, j.rowid DESC LIMIT 1");
    if (s.step()) return job_of(s);
    throw bad_usage(fmt::format("there is no job yet in {}; `check` opens one", db_->file().string()));
  }
  Statement s(*db_,
              std::string(job_columns) +
                  "WHERE j.uid = ?1 OR j.ref = ?1 OR (length(?1) >= 2 AND (substr(j.ref, 1, length(?1)) = ?1 "
                  "OR substr(j.ref, -length(?1)) = ?1)) ORDER BY j.rowid DESC");
  s.bind(ref);
  while (s.step()) {
    Job j = job_of(s);
    if (j.ref == ref || j.uid == ref) return j;
    found.push_back(std::move(j));
  }
  if (found.size() == 1) return found.front();
  if (found.empty())
    throw bad_usage(fmt::format("no job is called '{}'; `jobs list` shows what there is", ref));
  std::string names;
  for (std::size_t i = 0; i < found.size() && i < 5; ++i) names += (i ? ", " : "") + found[i].ref;
  throw bad_usage(fmt::format("'{}' fits {} jobs ({}{}); give more of it", ref, found.size(), names,
                              found.size() > 5 ? ", ..." : ""));
}

std::vector<Job> Store::jobs(const Query& q) const {
  std::string sql = std::string(job_columns) + "WHERE 1 ";
  std::vector<std::string> values;
  const auto want = [&](const std::string& value, const char* condition) {
    if (value.empty()) return;
    values.push_back(value);
    sql += fmt::format(fmt::runtime(condition), values.size());
  };
  want(q.text.empty() ? "" : containing(q.text),
       "AND (j.title LIKE ?{0} ESCAPE '\\' OR j.complaint LIKE ?{0} ESCAPE '\\' OR j.outcome LIKE ?{0} "
       "ESCAPE '\\' OR "
       "EXISTS(SELECT 1 FROM note n WHERE n.job = j.uid AND n.text LIKE ?{0} ESCAPE '\\')) ");
  want(q.site.empty() ? "" : containing(q.site), "AND s.name LIKE ?{} ESCAPE '\\' ");
  want(q.serial.empty() ? "" : containing(q.serial), "AND t.serial LIKE ?{} ESCAPE '\\' ");
  want(q.fault.empty() ? "" : containing(q.fault),
       "AND (EXISTS(SELECT 1 FROM finding f WHERE f.job = j.uid AND (f.position = 0 OR f.probability >= 0.5) "
       "AND (f.fault LIKE ?{0} ESCAPE '\\' OR "
       "f.label LIKE ?{0} ESCAPE '\\')) OR "
       "EXISTS(SELECT 1 FROM capture c JOIN reading r ON r.capture = c.uid WHERE c.job = j.uid AND "
       "json_extract(r.body, '$.verdict') = 'fail' AND (r.id LIKE ?{0} ESCAPE '\\' OR "
       "json_extract(r.body, '$.label') LIKE ?{0} ESCAPE '\\'))) ");
  want(q.since, "AND substr(j.opened_at, 1, 10) >= ?{} ");
  want(q.until, "AND substr(j.opened_at, 1, 10) <= ?{} ");
  if (q.kind) want(std::string(to_string(*q.kind)), "AND j.kind = ?{} ");
  if (q.done) sql += *q.done ? "AND j.done = 1 " : "AND j.done = 0 ";
  sql += "ORDER BY j.order_at DESC, j.rowid DESC";
  Statement s(*db_, sql);
  for (const std::string& v : values) s.bind(v);
  std::vector<Job> out;
  while (s.step()) out.push_back(job_of(s));
  return out;
}

std::vector<Capture> Store::captures(const Job& job, bool readings) const {
  Statement s(
      *db_,
      "SELECT uid, label, path, file, sha256, bytes, view, facts, verdict, limit_set, missing, added_at, "
      "taken_as, judged_as FROM capture WHERE job = ? ORDER BY order_ms, uid");
  s.bind(job.uid);
  std::vector<Capture> out;
  while (s.step()) {
    Capture c{.uid = s.text(0),
              .label = s.text(1),
              .path = s.maybe_text(2),
              .file = s.text(3),
              .sha256 = s.text(4),
              .bytes = static_cast<std::uint64_t>(s.integer(5)),
              .view = s.text(6),
              .facts = from_json(s.text(7), *db_, "capture", facts_from_json),
              .verdict = s.text(8),
              .limit_set = s.text(9),
              .missing = from_json(s.text(10), *db_, "capture",
                                   [](const json& j) { return j.get<std::vector<std::string>>(); }),
              .added_at = s.text(11),
              .taken_as = s.text(12),
              .judged_as = s.text(13),
              .readings = {}};
    if (readings) {
      Statement r(*db_, "SELECT body FROM reading WHERE capture = ? ORDER BY position");
      r.bind(c.uid);
      while (r.step()) c.readings.push_back(from_json(r.text(0), *db_, "reading", reading_from_json));
    }
    out.push_back(std::move(c));
  }
  return out;
}

std::vector<Finding> Store::findings(const Job& job) const {
  Statement s(*db_, "SELECT fault, label, probability, body FROM finding WHERE job = ? ORDER BY position");
  s.bind(job.uid);
  std::vector<Finding> out;
  while (s.step()) out.push_back({s.text(0), s.text(1), s.number(2), s.text(3)});
  return out;
}

std::vector<Step> Store::steps(const Job& job) const {
  Statement s(*db_, "SELECT key, answer, at FROM step WHERE job = ? ORDER BY order_ms, uid");
  s.bind(job.uid);
  std::vector<Step> out;
  while (s.step()) out.push_back({s.text(0), s.text(1), s.text(2)});
  return out;
}

std::vector<Step> Store::answers(const Job& job) const {
  std::vector<Step> out;
  for (Step& step : steps(job)) {
    const auto same = std::find_if(out.begin(), out.end(), [&](const Step& o) { return o.key == step.key; });
    if (same == out.end()) {
      out.push_back(std::move(step));
    } else {
      *same = std::move(step);
    }
  }
  return out;
}

std::vector<Note> Store::notes(const Job& job) const {
  Statement s(*db_, "SELECT text, at FROM note WHERE job = ? ORDER BY order_ms, uid");
  s.bind(job.uid);
  std::vector<Note> out;
  while (s.step()) out.push_back({s.text(0), s.text(1)});
  return out;
}

std::vector<Mark> Store::marks(const Job& job) const {
  Statement s(*db_,
              "SELECT item, state, note, at FROM (SELECT *, "
              "row_number() OVER (PARTITION BY item ORDER BY order_ms DESC, uid DESC) AS nth_last, "
              "min(order_ms) OVER (PARTITION BY item) AS first FROM mark WHERE job = ?) "
              "WHERE nth_last = 1 ORDER BY first, item");
  s.bind(job.uid);
  std::vector<Mark> out;
  while (s.step()) out.push_back({s.text(0), s.text(1), s.text(2), s.text(3)});
  return out;
}

std::vector<Path> Store::paths(const Site& site) const {
  Statement s(*db_,
              "SELECT uid, name, \"from\", \"to\", cable, length_m FROM path WHERE site = ? ORDER BY name");
  s.bind(site.uid);
  std::vector<Path> out;
  while (s.step()) out.push_back({s.text(0), s.text(1), s.text(2), s.text(3), s.text(4), s.maybe_number(5)});
  return out;
}

}  // namespace linebench::job
