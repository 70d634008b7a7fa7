// A job's paper: one self-contained page for the customer and the file, from what the job store holds.
#pragma once

#include <linebench/job/records.hpp>
#include <linebench/report/terminal.hpp>
#include <string>
#include <vector>

namespace linebench::report {

/// All that the page says; as the store gives it.
struct JobPaper {
  job::Job job;
  std::vector<job::Capture> captures;
  std::vector<std::string> file_states;  ///< one a capture: "" or what became of its file (job::file_state)
  std::vector<job::Finding> findings;
  std::vector<job::Step> answers;
  std::vector<job::Note> notes;
  std::vector<job::Mark> marks;
  std::string made_at;
  bool all = false;  ///< every reading, each hum harmonic too
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
