#include "demo_jobs.hpp"

#include <fmt/format.h>

#include <filesystem>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/signals/demo_jobs.hpp>

#include "check_paper.hpp"
#include "check_run.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

namespace fs = std::filesystem;

void make(const signals::DemoJob& job, const fs::path& folder) {
  std::error_code ec;
  fs::create_directories(folder, ec);
  if (ec) throw unusable(fmt::format("{}: the folder cannot be made ({})", folder.string(), ec.message()));
  capture::store_text(folder / "answers.toml", job.answers);
  for (const signals::DemoCapture& c : job.captures) {
    capture::AudioFileWriter writer(folder / c.file, c.rate_hz, c.channels, capture::SampleFormat::Pcm16);
    writer.write(signals::render(job, c));
    CaptureFacts facts;
    facts.signal = c.signal;
    if (c.full_scale_v > 0) facts.full_scale_v = c.full_scale_v;
    facts.notes = {"A computed capture of the demo's invented ferry terminal."};
    (void)writer.finish(facts);
  }
}

}  // namespace

Exit run_demo_jobs(const std::string& out, Context& context) {
  const fs::path folder = fs::path(out).lexically_normal();
  std::string done;
  for (const signals::DemoJob& demo : signals::demo_jobs()) {
    const job::JobKind kind = job::job_kind(demo.kind);
    make(demo, folder / demo.kind);
    check::Knowledge knowledge = knowledge_for(kind);
    job::Store store(folder / "jobs.sqlite");
    const job::Job job = store.open_job({.kind = kind});
    const auto answers = answers_from_files(knowledge.words, folder / demo.kind, context);
    show_text(context,
              fmt::format("\n==== check {} --from-files {}\n", demo.kind, (folder / demo.kind).string()));
    // What a job comes to is its own affair: the demo's faults are meant.
    CheckRun run{store, job, knowledge, *answers, {}, {}, (folder / "jobs.sqlite").string()};
    (void)run_check(run, context);
    if (context.stop) return Exit::Interrupted;
    report::JobPaper paper = paper_of(store, store.job(job.uid));
    add_traces(paper, context);
    const fs::path page = folder / (demo.kind + ".html");
    capture::store_text(page, report::job_page(paper));
    done += fmt::format("{:<8} {:<20} {}\n", demo.kind, store.job(job.uid).outcome, page.string());
  }
  show_text(context, fmt::format("\nThe three jobs, their results and their papers:\n{}", done));
  return Exit::Ok;
}

}  // namespace linebench::app
