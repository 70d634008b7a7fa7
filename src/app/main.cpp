#include <fmt/format.h>
#include <malloc.h>

#include <csignal>
#include <cstdio>
#include <exception>
#include <linebench/base/version.hpp>
#include <linebench/report/format.hpp>
#include <sstream>
#include <string>

#include "commands.hpp"
#include "say.hpp"

namespace {

using linebench::Exit;
using linebench::app::say;

// A signal handler can only reach what has static storage; set once before any handler is installed.
linebench::StopFlag* stop_flag = nullptr;

void on_interrupt(int signal) {
  if (stop_flag == nullptr) return;
  if (stop_flag->load()) {  // the second Ctrl-C means it
    std::signal(signal, SIG_DFL);
    (void)std::raise(signal);
  }
  stop_flag->store(true);
}

// The parser complains of a missing command before it tells of the word it did not know, which is what helps.
std::string what_was_wrong(const CLI::App& app, const CLI::ParseError& e) {
  const auto unknown = app.remaining();
  if (app.get_subcommands().empty() && !unknown.empty()) {
    return fmt::format("no command or option is called '{}'", unknown.front());
  }
  return e.what();
}

int report(Exit exit, const std::string& line) {
  say("linebench: {}\n", linebench::report::printable(line));
  return static_cast<int>(exit);
}

}  // namespace

int main(int argc, char** argv) {
  linebench::app::hold_standard_streams();
  std::signal(SIGPIPE, SIG_IGN);
  // Working buffers of a megabyte come and go all the time: keep their pages instead of asking the kernel for
  // zeroed ones each time, which took a tenth of a measurement.
  mallopt(M_MMAP_THRESHOLD, 64 << 20);
  mallopt(M_TRIM_THRESHOLD, 64 << 20);
  try {
    linebench::app::Context context;
    CLI::App app{
        "Audio and composite video signal test bench: what is wrong with the signal, and which wire, earth, "
        "supply or source to blame."};
    app.set_version_flag("--version", std::string(linebench::version()));
    app.require_subcommand(1);
    app.fallthrough();
    app.add_flag("--json", context.json, "One JSON document on standard output, nothing else there");
    linebench::app::add_demo(app, context);
    linebench::app::add_measure(app, context);
    linebench::app::add_devices(app, context);
    linebench::app::add_capture(app, context);
    linebench::app::add_loop(app, context);
    linebench::app::add_signals(app, context);
    linebench::app::add_limits(app, context);
    linebench::app::add_response(app, context);
    linebench::app::add_calibrate(app, context);
    linebench::app::add_sync_ratio(app, context);
    linebench::app::add_check(app, context);
    linebench::app::add_profile(app, context);
    linebench::app::add_jobs(app, context);
    linebench::app::add_report(app, context);
    linebench::app::add_diagnose(app, context);
    linebench::app::add_compare(app, context);
    linebench::app::add_watch(app, context);

    try {
      app.parse(argc, argv);
    } catch (const CLI::Success& e) {  // --help, --version
      std::ostringstream text;
      const int code = app.exit(e, text, text);
      linebench::app::print_text(text.str());
      return code;
    } catch (const CLI::ParseError& e) {
      return report(Exit::Usage, fmt::format("{} (linebench --help shows how)", what_was_wrong(app, e)));
    }
    stop_flag = &context.stop;
    std::signal(SIGINT, on_interrupt);
    std::signal(SIGTERM, on_interrupt);
    return static_cast<int>(context.action ? context.action() : Exit::Usage);
  } catch (const linebench::Error& e) {
    return report(e.exit(), e.what());
  } catch (const std::bad_alloc&) {
    return report(Exit::Unusable, "out of memory; close other programs or use a shorter capture");
  } catch (const std::exception& e) {
    return report(Exit::Unusable,
                  fmt::format("unexpected: {}; please report it with the command line", e.what()));
  }
}
