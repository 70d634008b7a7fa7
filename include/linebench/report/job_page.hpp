// A job's paper: one self-contained page for the customer and the file, from what the job store holds.
#pragma once

#include <linebench/job/records.hpp>
#include <linebench/measure/traces.hpp>
#include <linebench/report/outcome.hpp>
#include <linebench/report/terminal.hpp>
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace linebench::report {

/// A table of text; `rows` are as long as `head`.
struct PaperTable {
  std::string title, text;
  std::vector<std::string> head;
  std::vector<std::vector<std::string>> rows;
};

/// All that the page says; as the store gives it.
struct JobPaper {
  job::Job job;
  std::vector<job::Capture> captures;
  std::vector<std::string> file_states;  ///< one a capture: "" or what became of its file (job::file_state)
  std::vector<job::Finding> findings;
  std::vector<std::pair<std::string, std::string>> answers;  ///< what was asked, in few words, and the answer
  std::vector<job::Note> notes;
  std::vector<job::Mark> marks;
  std::string made_at;
  bool all = false;                     ///< every reading, each hum harmonic too
  Outcome outcome{};                    ///< said first
  std::vector<Drawing> drawings{};      ///< how things were connected
  std::vector<std::string> cautions{};  ///< said at the steps, each once
  std::vector<PaperTable> tables{};     ///< e.g. a station over its returns
  std::map<std::string, std::vector<measure::ChannelTraces>> traces{};  ///< by a capture's uid, for its plots
  std::set<std::string> replaced{};  ///< uids of captures that were taken again
  std::string paper_size{};          ///< "a4", "letter"; empty: the browser's
};

/// A stored capture as the document it was.
[[nodiscard]] Document document_of(const job::Capture& capture);

/// "2026-11-25 09:45" of "2026-11-25T09:45:12.345Z".
[[nodiscard]] std::string show_time(const std::string& iso);

/// The page, as html_page() makes it: summary first, then findings with what to do and its caution, each
/// capture with its readings as they were judged then, the work's checklist, notes and answers.
[[nodiscard]] std::string job_page(const JobPaper& paper);

/// The same in short for a terminal; ends with a newline.
[[nodiscard]] std::string job_text(const JobPaper& paper, const TerminalStyle& style);

}  // namespace linebench::report
