// Opening the job store for commands that look things up.
#pragma once

#include <CLI/CLI.hpp>
#include <linebench/job/store.hpp>
#include <string>

#include "commands.hpp"

namespace linebench::app {

/// The store's file: the one that was named, or this user's own.
[[nodiscard]] std::filesystem::path store_file(const std::string& named);

/// " NAME VALUE" for a command line that is copied, quoted for a shell; empty without a value.
[[nodiscard]] std::string option_again(const char* name, const std::string& value);

/// " --store FILE" for a command line that is copied; empty for this user's own.
[[nodiscard]] std::string store_option(const std::string& named);

/// A store that is there. A name with a slip in it must not make an empty store that then has no jobs.
/// Throws Error(Unusable) where there is none.
[[nodiscard]] job::Store existing_store(const std::string& named);

/// A day as "2026-11-01"; CLI11 says what is wrong with any other text.
[[nodiscard]] std::string wrong_day(const std::string& text);

/// `compare`, below the command `jobs`. @param store must live as long as the command.
void add_jobs_compare(CLI::App& jobs, Context& context, const std::string& store);

}  // namespace linebench::app
