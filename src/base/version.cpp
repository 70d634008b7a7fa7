#include <cstdlib>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <system_error>

namespace linebench {

std::string_view version() { return LINEBENCH_VERSION; }

std::filesystem::path share_dir() {
  namespace fs = std::filesystem;
  std::error_code ec;
  const auto usable = [&](const fs::path& p) { return fs::is_directory(p / "signals", ec); };
  if (const char* env = std::getenv("LINEBENCH_SHARE"); env != nullptr && *env != '\0') {
    if (usable(env)) return env;
    throw unusable("LINEBENCH_SHARE (" + std::string(env) +
                   "): no folder 'signals' in it; set it to the folder that has one");
  }
  const fs::path exe = fs::read_symlink("/proc/self/exe", ec);
  for (fs::path p = exe.parent_path(); !ec && p.has_relative_path(); p = p.parent_path()) {
    if (usable(p)) return p;
    if (usable(p / "share/linebench")) return p / "share/linebench";
  }
  if (usable(LINEBENCH_SHARE_DIR)) return LINEBENCH_SHARE_DIR;
  throw unusable(
      "the folder 'signals' that comes with the program was not found; set LINEBENCH_SHARE to the folder "
      "that has it");
}

std::filesystem::path store_dir() {
  const auto env = [](const char* name) -> std::filesystem::path {
    const char* v = std::getenv(name);
    return v != nullptr ? v : "";
  };
  if (auto p = env("LINEBENCH_HOME"); !p.empty()) return p;
  if (auto p = env("XDG_DATA_HOME"); !p.empty()) return p / "linebench";
  if (auto p = env("HOME"); !p.empty()) return p / ".local/share/linebench";
  throw unusable("no folder to store things for this user: set LINEBENCH_HOME to one");
}

}  // namespace linebench
