// Runs a Python script (numpy, scipy) as an independent reference in a test. The system's /usr/bin/python3 is
// named outright, because that is the one Debian's python3-scipy installs for. Where it is missing the test
// fails: a check that skips itself checks nothing.
#pragma once

#include <fcntl.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

namespace testing_support {

/// A folder of its own under the system's temporary folder, removed with the object.
class TempDir {
 public:
  TempDir() {
    std::string pattern = (std::filesystem::temp_directory_path() / "linebench-test-XXXXXX").string();
    if (mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("cannot make a temporary folder");
    path_ = pattern;
  }
  ~TempDir() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TempDir(const TempDir&) = delete;
  TempDir& operator=(const TempDir&) = delete;
  [[nodiscard]] const std::filesystem::path& path() const { return path_; }
  /// Full path of a file in it.
  [[nodiscard]] std::string operator/(const std::string& name) const { return (path_ / name).string(); }

 private:
  std::filesystem::path path_;
};

inline std::string read_text(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

/// What a finished process left behind.
struct Finished {
  int status = -1;  ///< exit code; 128 + signal when it was killed
  std::string out;
  std::string err;
};

/// Runs a program (argv[0] is its path) with empty standard input and waits for it.
/// Throws std::runtime_error when it cannot be started.
inline Finished run_program(const std::vector<std::string>& argv) {
  const TempDir dir;
  const std::string out = dir / "stdout";
  const std::string err = dir / "stderr";
  posix_spawn_file_actions_t actions;
  posix_spawn_file_actions_init(&actions);
  posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&actions, STDOUT_FILENO, out.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  posix_spawn_file_actions_addopen(&actions, STDERR_FILENO, err.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0600);
  std::vector<std::string> copies = argv;
  std::vector<char*> args;
  args.reserve(copies.size() + 1);
  for (std::string& a : copies) args.push_back(a.data());
  args.push_back(nullptr);
  pid_t pid = 0;
  const int failed = posix_spawn(&pid, args[0], &actions, nullptr, args.data(), environ);
  posix_spawn_file_actions_destroy(&actions);
  if (failed != 0) throw std::runtime_error("cannot start " + argv[0] + ": " + std::strerror(failed));
  int status = 0;
  while (waitpid(pid, &status, 0) < 0 && errno == EINTR) {
  }
  return {WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status), read_text(out), read_text(err)};
}

/// Runs `script_source` with sys.argv[1:] = args and returns what it printed on standard output.
/// Throws std::runtime_error carrying the script's standard error when it fails (which fails the test), also
/// when python3, numpy or scipy is missing.
inline std::string run_python(const std::string& script_source, const std::vector<std::string>& args = {}) {
  const TempDir dir;
  const std::string script = dir / "script.py";
  std::ofstream(script, std::ios::binary) << script_source;
  std::vector<std::string> argv = {"/usr/bin/python3", "-I", script};
  argv.insert(argv.end(), args.begin(), args.end());
  Finished f = run_program(argv);
  if (f.status != 0) {
    throw std::runtime_error("python3 script ended with " + std::to_string(f.status) +
                             " (needs the packages python3, python3-numpy, python3-scipy):\n" + f.err);
  }
  return f.out;
}

/// The same where the script prints numbers with white space between.
inline std::vector<double> run_python_numbers(const std::string& script_source,
                                              const std::vector<std::string>& args = {}) {
  std::istringstream in(run_python(script_source, args));
  std::vector<double> numbers;
  for (std::string word; in >> word;) {
    char* end = nullptr;
    numbers.push_back(std::strtod(word.c_str(), &end));
    if (*end != '\0')
      throw std::runtime_error("python3 script printed '" + word + "' where a number was due");
  }
  return numbers;
}

/// Writes values raw, native byte order, for numpy.fromfile(path, dtype) (float -> "<f4", double -> "<f8").
template <typename T>
void write_raw(const std::string& path, const std::vector<T>& values) {
  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(values.data()),
            static_cast<std::streamsize>(values.size() * sizeof(T)));
  if (!out) throw std::runtime_error("cannot write " + path);
}

}  // namespace testing_support

using testing_support::run_python;
using testing_support::run_python_numbers;
