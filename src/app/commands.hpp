// The commands, one file each (cmd_NAME.cpp). A command only reads its options, calls the parts and hands the
// result to the report; no arithmetic here.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <linebench/base/error.hpp>
#include <linebench/base/progress.hpp>

namespace linebench::app {

/// What all commands share.
struct Context {
  bool json = false;             ///< --json: one document on stdout, all else on stderr
  std::function<Exit()> action;  ///< set by the command that was called
  StopFlag stop = false;         ///< Ctrl-C
};

void add_demo(CLI::App& app, Context& context);
void add_measure(CLI::App& app, Context& context);
void add_devices(CLI::App& app, Context& context);
void add_capture(CLI::App& app, Context& context);
void add_loop(CLI::App& app, Context& context);
void add_response(CLI::App& app, Context& context);
void add_calibrate(CLI::App& app, Context& context);
void add_sync_ratio(CLI::App& app, Context& context);
void add_jobs(CLI::App& app, Context& context);
void add_report(CLI::App& app, Context& context);
void add_diagnose(CLI::App& app, Context& context);
void add_compare(CLI::App& app, Context& context);
void add_watch(CLI::App& app, Context& context);
void add_check(CLI::App& app, Context& context);
void add_profile(CLI::App& app, Context& context);
/// `send`, below the command `signals`.
void add_signals_send(CLI::App& signals_command, Context& context);
/// `faults`, below the command `signals`.
void add_signals_faults(CLI::App& signals_command, Context& context);
void add_signals(CLI::App& app, Context& context);
void add_limits(CLI::App& app, Context& context);

}  // namespace linebench::app
