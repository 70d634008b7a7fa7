// Another laptop's job store, taken in: a whole file of any bytes, or a good one whose texts were changed.
#include <sqlite3.h>

#include <fstream>
#include <iterator>
#include <linebench/job/export.hpp>
#include <linebench/job/store.hpp>
#include <linebench/report/job_page.hpp>
#include <nlohmann/json.hpp>
#include <string>

#include "scratch.hpp"
#include "target.hpp"

using namespace linebench;
namespace fs = std::filesystem;

namespace {

std::string bytes_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

void forget(const fs::path& file) {
  std::error_code ignored;
  for (const char* end : {"", "-wal", "-shm"}) fs::remove(file.string() + end, ignored);
}

std::string empty_store() {
  const fs::path file = fuzz::scratch_folder() / "empty.sqlite";
  forget(file);
  { const job::Store store(file); }
  return bytes_of(file);
}

std::string good_store() {
  const fs::path file = fuzz::scratch_folder() / "good.sqlite";
  forget(file);
  {
    job::Store store(file);
    const job::Job j = store.open_job({job::JobKind::Station, "Hum", "hums", "Terminal", "desk", "17"});
    job::Capture c;
    c.label = "first";
    c.path = "counter 2";
    c.file = "/nowhere/capture.wav";
    c.view = "audio";
    c.verdict = "fail";
    c.facts.source = "capture.wav";
    c.missing = {"audio.sti"};
    c.readings = {number_reading("audio.hum.level", -41.25, 0.05), unmeasurable("audio.sti", "needs stipa")};
    store.add(j, c, "taken");
    store.set_findings(j, {{"earth-loop-audio", "Earth loop", 0.91, R"({"a":1})"}});
    store.answer(j, "seen", "hum");
    store.note(j, "loose");
    store.mark(j, {"earth wire", "done", "0.4 ohm", ""});
    store.set_path(*j.site, {"", "counter 2", "station", "hub", "cat 5", 38.5});
  }
  return bytes_of(file);
}

// "table.column", a line end, the value; several of these between lines "%%".
void change(const fs::path& file, std::string_view edits) {
  sqlite3* db = nullptr;
  sqlite3_open(file.c_str(), &db);
  for (std::string_view rest = edits; !rest.empty();) {
    const auto [edit, after] = fuzz::split(rest);
    rest = after;
    const auto line = edit.find('\n');
    const auto dot = edit.find('.');
    if (line == std::string_view::npos || dot == std::string_view::npos || dot > line) continue;
    char* sql = sqlite3_mprintf("UPDATE \"%w\" SET \"%w\" = ?", std::string(edit.substr(0, dot)).c_str(),
                                std::string(edit.substr(dot + 1, line - dot - 1)).c_str());
    sqlite3_stmt* s = nullptr;
    if (sqlite3_prepare_v2(db, sql, -1, &s, nullptr) == SQLITE_OK) {
      const std::string_view value = edit.substr(line + 1);
      sqlite3_bind_text64(s, 1, value.data(), value.size(), SQLITE_STATIC, SQLITE_UTF8);
      (void)sqlite3_step(s);
    }
    sqlite3_finalize(s);
    sqlite3_free(sql);
  }
  sqlite3_close(db);
}

void require_sound(const fs::path& file) {
  sqlite3* db = nullptr;
  sqlite3_open(file.c_str(), &db);
  const auto first = [&](const char* sql) {
    sqlite3_stmt* s = nullptr;
    std::string word = "none";
    if (sqlite3_prepare_v2(db, sql, -1, &s, nullptr) == SQLITE_OK && sqlite3_step(s) == SQLITE_ROW)
      word = reinterpret_cast<const char*>(sqlite3_column_text(s, 0));
    sqlite3_finalize(s);
    return word;
  };
  const bool sound = first("PRAGMA integrity_check") == "ok" && first("PRAGMA foreign_key_check") == "none";
  sqlite3_close(db);
  fuzz::require(sound, "our own store stays sound");
}

void look_at_all(const job::Store& store) {
  const auto jobs = store.jobs();
  for (const job::Job& j : jobs) {
    (void)job::whole_job_to_json(store, j).dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
    report::JobPaper paper;
    paper.job = j;
    paper.captures = store.captures(j);
    paper.file_states.resize(paper.captures.size());
    paper.findings = store.findings(j);
    paper.notes = store.notes(j);
    paper.marks = store.marks(j);
    paper.all = true;
    (void)report::job_page(paper);
    (void)report::job_text(paper, {});
    (void)store.job(j.uid);
  }
  (void)job::readings_csv(store, jobs);
}

}  // namespace

FUZZ_TARGET(store) {
  static const std::string empty = empty_store();
  static const std::string good = good_store();
  const fs::path other = fuzz::scratch_folder() / "other.sqlite";
  const fs::path own = fuzz::scratch_folder() / "own.sqlite";
  forget(other);
  forget(own);
  const bool whole = input.starts_with("SQLite format 3");
  fuzz::scratch("other.sqlite", whole ? input : good);
  if (!whole) change(other, input);
  fuzz::scratch("own.sqlite", empty);
  {
    job::Store store(own);
    fuzz::reads([&] { (void)store.merge(other); });
    fuzz::reads([&] { look_at_all(store); });
  }
  require_sound(own);
}
