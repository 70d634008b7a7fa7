// Runs the program as a person's shell would, and keeps what it said.
#pragma once

#include <sys/wait.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <where.hpp>

namespace app_test {

struct Result {
  int exit = -1;
  std::string out;
  std::string err;
};

inline std::string slurp(const std::filesystem::path& p) {
  std::ifstream in(p, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// A folder of its own for a test, gone at the end.
class Folder {
 public:
  Folder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "linebench-app-XXXXXX").string();
    const char* made = mkdtemp(pattern.data());
    path = made != nullptr ? made : "";
  }
  ~Folder() {
    std::error_code ec;
    if (!path.empty()) std::filesystem::remove_all(path, ec);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  std::filesystem::path path;
};

/// @param arguments as typed (quoted where needed); @param environment e.g. "LC_ALL=C NO_COLOR=1".
inline Result run(const Folder& folder, const std::string& arguments,
                  const std::string& environment = "LC_ALL=C.UTF-8") {
  const auto out = folder.path / "stdout";
  const auto err = folder.path / "stderr";
  const std::string command = "cd '" + folder.path.string() + "' && env LINEBENCH_HOME='" +
                              folder.path.string() + "/home' " + environment + " " LINEBENCH_PROGRAM " " +
                              arguments + " >'" + out.string() + "' 2>'" + err.string() + "' </dev/null";
  const int status = std::system(command.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, slurp(out), slurp(err)};
}

}  // namespace app_test
