#include "jobs_store.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <charconv>
#include <chrono>
#include <cstring>
#include <linebench/base/error.hpp>

namespace linebench::app {

namespace fs = std::filesystem;

namespace {

// For a command line that is copied.
std::string shell_quoted(const std::string& text) {
  const bool plain = !text.empty() && std::all_of(text.begin(), text.end(), [](unsigned char c) {
    return std::isalnum(c) != 0 || std::strchr("/._-+,:@%", c) != nullptr;
  });
  if (plain) return text;
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? std::string("'\\''") : std::string(1, c);
  return out + "'";
}

}  // namespace

fs::path store_file(const std::string& named) {
  return named.empty() ? job::Store::usual_file() : fs::path(named);
}

std::string option_again(const char* name, const std::string& value) {
  return value.empty() ? "" : fmt::format(" {} {}", name, shell_quoted(value));
}

std::string store_option(const std::string& named) { return option_again("--store", named); }

job::Store existing_store(const std::string& named) {
  const fs::path file = store_file(named);
  std::error_code ec;
  if (!fs::exists(file, ec))
    throw unusable(
        named.empty()
            ? fmt::format("there is no job yet ({}); `check` opens one", file.string())
            : fmt::format("{}: there is no job store of this name, and none was made; check --store", named));
  return job::Store(file);
}

std::string wrong_day(const std::string& text) {
  int year = 0;
  unsigned month = 0, day = 0;
  const auto number = [&](std::size_t from, std::size_t n, auto& value) {
    const char* end = text.data() + from + n;
    const auto read = std::from_chars(text.data() + from, end, value);
    return read.ec == std::errc() && read.ptr == end;
  };
  const bool formed = text.size() == 10 && text[4] == '-' && text[7] == '-' && number(0, 4, year) &&
                      number(5, 2, month) && number(8, 2, day);
  const std::chrono::year_month_day date{std::chrono::year{year}, std::chrono::month{month},
                                         std::chrono::day{day}};
  if (formed && date.ok()) return {};
  return fmt::format("'{}' is no day of the calendar; write it as 2026-11-01", text);
}

}  // namespace linebench::app
