#include <fmt/format.h>

#include <linebench/base/error.hpp>
#include <linebench/base/reading_json.hpp>
#include <linebench/job/export.hpp>
#include <nlohmann/json.hpp>

namespace linebench::job {
namespace {

using nlohmann::json;

// [RFC 4180]; a text that begins like a formula would be run by a spreadsheet.
std::string field(std::string text) {
  if (!text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos)
    text = fmt::format("'{}", text);
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) {
    if (c == '"') out += '"';
    out += c;
  }
  return out + "\"";
}

std::string figure(const std::optional<double>& v) { return v ? fmt::format("{}", *v) : std::string(); }

struct CsvLine {
  std::string id, value, unit, uncertainty;
  std::optional<double> min, max;
};

std::vector<CsvLine> lines_of(const Reading& r) {
  if (const auto* c = std::get_if<Curve>(&r.value)) {
    std::vector<CsvLine> out;
    for (std::size_t i = 0; i < c->x.size(); ++i) {
      const auto u = c->uncertainty.empty() ? r.uncertainty : std::optional<double>(c->uncertainty[i]);
      out.push_back({fmt::format("{}@{:g} {}", r.id, c->x[i], c->x_unit),
                     fmt::format("{}", c->y[i]),
                     c->y_unit,
                     figure(u),
                     {},
                     {}});
    }
    return out;
  }
  CsvLine line{r.id, "", r.unit, figure(r.uncertainty), {}, {}};
  if (const auto* d = std::get_if<double>(&r.value)) line.value = fmt::format("{}", *d);
  if (const auto* s = std::get_if<std::string>(&r.value)) line.value = field(*s);
  if (r.limit) {
    line.min = r.limit->min;
    line.max = r.limit->max;
  }
  return {line};
}

std::string capture_lines(const Job& job, const Capture& c) {
  const std::string front = fmt::format(
      "{},{},{},{},{},{},{},{},{}", field(job.ref), job.opened_at, field(job.site ? job.site->name : ""),
      field(job.station ? job.station->type : ""), field(job.station ? job.station->serial : ""),
      field(job.outcome), field(c.label.empty() ? c.file.filename().string() : c.label),
      field(c.path.value_or("")), c.facts.taken_at.empty() ? c.added_at : field(c.facts.taken_at));
  std::string out;
  for (const Reading& r : c.readings) {
    for (const CsvLine& l : lines_of(r)) {
      out += fmt::format("{},{},{},{},{},{},{},{},{},{},{},{},{}\r\n", front, l.id, field(r.label), l.value,
                         field(l.unit), l.uncertainty, to_string(r.verdict), figure(l.min), figure(l.max),
                         field(r.limit ? r.limit->source : ""), field(r.reason), field(job.title),
                         field(job.complaint));
    }
  }
  return out;
}

// A finding's own text, as another laptop may have sent it; nothing where it is no document, or nested so
// deeply that nobody of ours wrote it: writing it out would take a stack without end.
json finding_json(const std::string& body) {
  constexpr int deepest = 64;
  try {
    return json::parse(body, [](int depth, json::parse_event_t, const json&) {
      if (depth > deepest) throw unusable("nested too deeply");
      return true;
    });
  } catch (const json::exception&) {  // said by the nothing
  } catch (const Error&) {
  }
  return nullptr;
}

json capture_json(const Capture& c) {
  json readings = json::array();
  for (const Reading& r : c.readings) readings.push_back(reading_to_json(r));
  json j = {{"uid", c.uid},
            {"label", c.label},
            {"file", c.file.string()},
            {"sha256", c.sha256},
            {"bytes", c.bytes},
            {"view", c.view},
            {"input", facts_to_json(c.facts)},
            {"verdict", c.verdict},
            {"limit_set", c.limit_set},
            {"missing", c.missing},
            {"added_at", c.added_at},
            {"readings", std::move(readings)}};
  if (c.path) j["path"] = *c.path;
  const std::string state = file_state(c);
  if (!state.empty()) j["file_state"] = state;
  return j;
}

}  // namespace

json job_to_json(const Job& job) {
  json j = {{"ref", job.ref},
            {"uid", job.uid},
            {"kind", to_string(job.kind)},
            {"title", job.title},
            {"complaint", job.complaint},
            {"state", job.done ? "done" : "open"},
            {"outcome", job.outcome},
            {"reference", job.reference},
            {"opened_at", job.opened_at},
            {"changed_at", job.changed_at},
            {"program", job.program}};
  if (job.site)
    j["site"] = {{"uid", job.site->uid}, {"name", job.site->name}, {"address", job.site->address}};
  if (job.station)
    j["station"] = {{"uid", job.station->uid}, {"type", job.station->type}, {"serial", job.station->serial}};
  return j;
}

json whole_job_to_json(const Store& store, const Job& job) {
  json j = job_to_json(job);
  for (const char* list : {"captures", "findings", "answers", "notes", "checklist"}) j[list] = json::array();
  for (const Capture& c : store.captures(job)) j["captures"].push_back(capture_json(c));
  for (const Finding& f : store.findings(job)) {
    json body = finding_json(f.body);
    j["findings"].push_back(
        body.is_object() ? std::move(body)
                         : json{{"fault", f.fault}, {"label", f.label}, {"probability", f.probability}});
  }
  for (const Step& s : store.steps(job))
    j["answers"].push_back({{"step", s.key}, {"answer", s.answer}, {"at", s.at}});
  for (const Note& n : store.notes(job)) j["notes"].push_back({{"text", n.text}, {"at", n.at}});
  for (const Mark& m : store.marks(job)) {
    j["checklist"].push_back({{"item", m.item}, {"state", m.state}, {"note", m.note}, {"at", m.at}});
  }
  return j;
}

std::string readings_csv(const Store& store, const std::vector<Job>& jobs) {
  std::string out =
      "job,opened,site,station "
      "type,serial,outcome,capture,path,taken,id,label,value,unit,uncertainty,verdict,"
      "limit min,limit max,limit source,reason,title,complaint\r\n";
  for (const Job& job : jobs) {
    for (const Capture& c : store.captures(job)) out += capture_lines(job, c);
  }
  return out;
}

}  // namespace linebench::job
