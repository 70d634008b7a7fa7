// The end of every measuring command: judge the readings, show the document, give the exit code.
#pragma once

#include <string>
#include <vector>

#include <linebench/base/error.hpp>
#include <linebench/measure/traces.hpp>
#include <linebench/report/document.hpp>

#include "commands.hpp"

namespace linebench::app {

/// What the user asked for, and what the page needs beside the readings.
struct ShowOptions {
  std::string html;                             ///< write a page to this file; empty: none
  bool all = false;                             ///< show every reading (each hum harmonic) in the table
  std::vector<measure::ChannelTraces> traces{};  ///< for the page's plots; may be empty
};

/// Adds --limits, --html and --all to a command. The references must live as long as the command.
void add_show_options(CLI::App& command, ShowOptions& options, std::string& limits);

/// Judges the document's readings by this set (a name or a path) and fills verdict, limit_set and missing.
/// An empty name judges nothing: readings stay `info`, the verdict is "pass" and limit_set is empty.
/// Call load-time checks early: an unknown set throws before anything was measured when check_limits() was called.
void judge_document(report::Document& document, const std::string& limits);

/// Throws as judge_document() would for a set that is unknown or wrong; nothing for an empty name.
void check_limits(const std::string& limits);

/// Prints the document on standard output (JSON with --json, else the table), writes the page if asked.
/// @return Ok for "pass", OutOfLimits for "fail" and for "incomplete" (not everything required was shown to be within
/// limits), Interrupted when the input's facts say the capture in hand was stopped by Ctrl-C now.
/// Throws Error(Unusable) when the page or standard output cannot be written.
Exit show(const Context& context, const report::Document& document, const ShowOptions& options);

}  // namespace linebench::app
