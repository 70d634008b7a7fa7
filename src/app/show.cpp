#include "show.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>
#include <langinfo.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <cerrno>
#include <clocale>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/job/store.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/report/format.hpp>
#include <linebench/report/page.hpp>
#include <linebench/signals/picture_module.hpp>
#include <nlohmann/json.hpp>

#include "jobs_store.hpp"
#include "say.hpp"

namespace linebench::app {
namespace {

bool set_and_not_empty(const char* name) {
  const char* v = std::getenv(name);
  return v != nullptr && *v != '\0';
}

bool utf8_locale() {
  std::setlocale(LC_CTYPE, "");
  const char* codeset = nl_langinfo(CODESET);
  return codeset != nullptr && std::strcmp(codeset, "UTF-8") == 0;
}

std::size_t terminal_width() {
  constexpr std::size_t paper = 80;
  winsize size{};
  if (isatty(STDOUT_FILENO) != 0 && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) {
    return std::min<std::size_t>(size.ws_col, 100);
  }
  const char* columns = std::getenv("COLUMNS");
  const long n = columns != nullptr ? std::strtol(columns, nullptr, 10) : 0;
  return n >= 20 && n <= 400 ? std::min<std::size_t>(static_cast<std::size_t>(n), 100) : paper;
}

}  // namespace

report::TerminalStyle terminal_style(bool all) {
  report::TerminalStyle style;
  const char* term = std::getenv("TERM");
  const bool dumb = term == nullptr || *term == '\0' || std::strcmp(term, "dumb") == 0;
  style.colour = isatty(STDOUT_FILENO) != 0 && !dumb && !set_and_not_empty("NO_COLOR");
  style.unicode = utf8_locale();
  style.width = terminal_width();
  style.all = all;
  return style;
}

std::string now_utc() { return fmt::format("{:%Y-%m-%d %H:%M} UTC", fmt::gmtime(std::time(nullptr))); }

// What a reader of the file only finds out on the way (it ends before its header says) is taken over.
std::size_t KnownSource::read(std::span<float> interleaved) {
  const std::size_t frames = inner_.read(interleaved);
  if (frames == 0) {
    facts_.interrupted = facts_.interrupted || inner_.facts().interrupted;
    facts_.notes = inner_.facts().notes;
    facts_.frames = inner_.facts().frames;
  }
  return frames;
}

Readings measure_traced(AudioSource& source, const measure::AudioOptions& options, const Progress& progress,
                        const StopFlag& stop, ShowOptions& show) {
  if (show.html.empty() || !(source.facts().sample_rate_hz > 0) || source.facts().channels < 1) {
    return measure::measure_audio(source, options, progress, &stop);
  }
  measure::TraceAnalyser analyser(source.facts().sample_rate_hz, source.facts().channels);
  measure::TracingSource traced(source, analyser);
  Readings readings = measure::measure_audio(traced, options, progress, &stop);
  show.traces = analyser.finish();
  return readings;
}

namespace {

std::vector<std::uint8_t> thumbnail_png(const measure::PictureTraces& picture) {
  report::Thumbnail small = report::thumbnail(picture);
  if (small.width == 0) return {};
  return signals::with_picture_module("the page's picture", [&](signals::PictureModule& m) {
    return m.encode_png({.width = small.width, .height = small.height, .bgr = std::move(small.bgr)});
  });
}

bool is_page(const std::filesystem::path& file) {
  constexpr std::string_view opening = "<!DOCTYPE html>";
  std::ifstream in(file, std::ios::binary);
  std::string start(opening.size(), '\0');
  in.read(start.data(), static_cast<std::streamsize>(start.size()));
  return in && start == opening;
}

void refuse_unwritable(const std::filesystem::path& folder, const std::string& html) {
  std::string trial = (folder / ".linebench-XXXXXX").string();
  const int fd = ::mkstemp(trial.data());
  if (fd < 0) {
    // Pseudo file systems answer "no such file" to whoever would make one.
    const char* why = errno == ENOENT ? "nothing can be stored there" : std::strerror(errno);
    throw unusable(
        fmt::format("--html {}: cannot be written: {}; choose a folder you may write to", html, why));
  }
  ::close(fd);
  ::unlink(trial.c_str());
}

}  // namespace

void check_page_path(const std::string& html, const std::string& input) {
  namespace fs = std::filesystem;
  std::error_code ec;
  if (fs::equivalent(html, input, ec)) {
    throw bad_usage(fmt::format("--html {}: that is the capture itself; name another file", html));
  }
  const fs::path page(html);
  if (fs::is_directory(page, ec) || !page.has_filename()) {
    throw bad_usage(fmt::format("--html {}: is a folder; add a file name, such as report.html", html));
  }
  const fs::path folder = page.has_parent_path() ? page.parent_path() : fs::path(".");
  if (!fs::is_directory(folder, ec)) {
    throw unusable(fmt::format("--html {}: there is no folder {}; make it first", html, folder.string()));
  }
  // An older report is replaced, anything else is not.
  if (fs::exists(page, ec) && !is_page(page)) {
    throw bad_usage(fmt::format("--html {}: is there already and is no report; choose another name", html));
  }
  // Said now and not after an hour of measuring.
  refuse_unwritable(folder, html);
}

void add_show_options(CLI::App& command, ShowOptions& options, std::string& limits) {
  command.add_option("--limits", limits, "Judge by this limit set: a name or the path of a .toml file");
  command.add_option("--html", options.html, "Write the report as one self-contained page to this file");
  command.add_option("--job", options.job, "Keep it in this job: its name, the end of it, or `last`");
  command.add_option("--store", options.store, "The job store; without it this user's own");
  command.add_flag("--all", options.all, "Show every reading, each hum harmonic too");
}

namespace {

// The view by what was read: readings of one document are of one view.
std::string view_of(const Readings& readings) {
  if (readings.empty() || readings.front().id.starts_with("audio.")) return "audio";
  return readings.front().id.starts_with("picture.") ? "picture" : "waveform";
}

void keep_in_job(const report::Document& d, const ShowOptions& o) {
  job::Store store = existing_store(o.store);
  const job::Job job = store.job(o.job);
  job::Capture c;
  c.label = fmt::format("{}: {}", d.command, d.input.source);
  if (std::error_code ec; std::filesystem::is_regular_file(o.file, ec)) {
    c.file = std::filesystem::absolute(o.file, ec).lexically_normal();
    c.sha256 = job::sha256_of(o.file);
    c.bytes = std::filesystem::file_size(o.file, ec);
  }
  c.view = view_of(d.readings);
  c.facts = d.input;
  c.verdict = d.verdict;
  c.limit_set = d.limit_set;
  c.missing = d.missing;
  c.readings = d.readings;
  (void)store.add(job, c);
  say("kept in job {}\n", job.ref);
}

}  // namespace

void check_job(const ShowOptions& options) {
  if (options.job.empty()) return;
  (void)existing_store(options.store).job(options.job);
}

void check_limits(const std::string& limits) {
  if (!limits.empty()) (void)judge::load_limit_set(limits);
}

void judge_document(report::Document& document, const std::string& limits, const judge::Asked& asked) {
  document.verdict = "pass";
  if (limits.empty()) {
    // Nothing was asked of the capture but to be one of a signal.
    for (const char* id : {"video.signal", "picture.signal"}) {
      const Reading* r = find_reading(document.readings, id);
      if (r != nullptr && r->measured() && r->text() == "none") document.verdict = "incomplete";
    }
    return;
  }
  const judge::LimitSet set = judge::load_limit_set(limits);
  judge::judge(document.readings, set, asked);
  document.limit_set = set.name;
  document.missing = judge::missing(document.readings, set, asked);
  document.verdict = judge::to_string(judge::overall(document.readings, set, asked));
}

void print_json(const report::Document& document) {
  // A file name need not be UTF-8; JSON must be, so what is not is replaced.
  print_text(json_text(report::to_json(document), 2) + "\n");
}

std::optional<double> mains_hz(const std::string& choice) {
  if (choice == "50") return 50.0;
  if (choice == "60") return 60.0;
  return std::nullopt;
}

void refuse_part(const Context& context, const std::string& capture) {
  if (!context.stop) return;
  throw Error(Exit::Interrupted,
              fmt::format("{}: measuring was interrupted before its end, so nothing is judged; the "
                          "file is as it was: measure it again",
                          report::printable(capture)));
}

Exit show(const Context& context, const report::Document& document, const ShowOptions& options) {
  if (!options.job.empty()) keep_in_job(document, options);
  // The page comes last: should it fail, the readings of a long capture are on the screen already.
  if (context.json) {
    print_json(document);
  } else {
    print_text(report::terminal_table(document, terminal_style(options.all)));
  }
  if (!options.html.empty()) {
    report::PageHead head;
    head.made_at = now_utc();
    head.all = options.all;
    report::PageSection section{
        .document = document, .traces = options.traces, .video = options.video, .picture = options.picture};
    if (section.picture) section.thumbnail = thumbnail_png(*section.picture);
    capture::store_text(options.html, report::html_page(head, {section}));
    say("report written to {}\n", report::printable(options.html));
  }
  if (context.stop) return Exit::Interrupted;
  return document.verdict == "pass" ? Exit::Ok : Exit::OutOfLimits;
}

}  // namespace linebench::app
