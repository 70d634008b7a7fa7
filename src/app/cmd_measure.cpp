#include "commands.hpp"

namespace linebench::app {

void add_measure(CLI::App& app, Context&) { app.add_subcommand("measure", "Readings and verdicts of a capture"); }

}  // namespace linebench::app
