// The demo's three jobs: made, run and reported.
#pragma once

#include <string>

#include "commands.hpp"

namespace linebench::app {

/// Computes the captures of the three jobs into OUT/site, OUT/station and OUT/feed, runs them into the store
/// OUT/jobs.sqlite and writes their papers OUT/site.html and so on.
Exit run_demo_jobs(const std::string& out, Context& context);

}  // namespace linebench::app
