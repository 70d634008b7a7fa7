// Runs the program as a person would, and keeps what it said.
#pragma once

#include <sys/wait.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <where.hpp>

#include "capture/temp_folder.hpp"

struct Ran {
  int exit = -1;
  std::string out;
  std::string err;
};

inline std::string slurp(const std::filesystem::path& path) {
  std::ifstream in(path);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

/// @param folder where it runs and keeps its own store.
/// @param words everything after "linebench", quoted for the shell.
/// @param environment assignments before it.
inline Ran run_program(const TempFolder& folder, const std::string& words,
                       const std::string& environment = "") {
  const std::string at = folder.path().string();
  const std::string line = "cd " + at + " && LINEBENCH_HOME=" + at + "/store JACK_NO_START_SERVER=1 " +
                           environment + " " + LINEBENCH_PROGRAM + " " + words +
                           " > .out 2> .err < /dev/null";
  const int status = std::system(line.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), slurp(folder / ".out"),
          slurp(folder / ".err")};
}
