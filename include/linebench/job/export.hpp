// Jobs as JSON and CSV, for other programs and for the archive.
#pragma once

#include <linebench/job/store.hpp>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace linebench::job {

/// A job's head: ref, uid, kind, title, complaint, site, station, state, outcome, times.
[[nodiscard]] nlohmann::json job_to_json(const Job& job);
/// The head and all that belongs to it: captures with their readings, findings, answers, notes, checklist.
[[nodiscard]] nlohmann::json whole_job_to_json(const Store& store, const Job& job);

/// One line a reading, with a header line; RFC 4180 (fields with commas, quotes or line breaks are quoted).
/// Columns: job, opened, site, station type, serial, outcome, capture, path, taken, id, label, value, unit,
/// uncertainty, verdict, limit min, limit max, limit source, reason, title, complaint. A curve is one line a
/// point, its x in the id ("audio.response@1000 Hz"). Text that a spreadsheet would take for a formula gets a
/// leading apostrophe.
[[nodiscard]] std::string readings_csv(const Store& store, const std::vector<Job>& jobs);

}  // namespace linebench::job
