#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <unistd.h>

#include <linebench/base/draft.hpp>
#include <system_error>

namespace linebench {

namespace fs = std::filesystem;

Draft::Draft(fs::path target)
    : target_(std::move(target)),
      draft_(target_.parent_path() / fmt::format(".{}.{}.part{}", target_.stem().string(), ::getpid(),
                                                 target_.extension().string())) {}

Draft::~Draft() {
  std::error_code ignored;
  fs::remove(draft_, ignored);
}

Error Draft::about_target(const Error& e) const {
  std::string line = e.what();
  if (const auto at = line.find(draft_.string()); at != std::string::npos) {
    line.replace(at, draft_.string().size(), target_.string());
  }
  return {e.exit(), line};
}

void Draft::keep() const {
  std::error_code ec;
  fs::rename(draft_, target_, ec);
  if (ec) throw cannot_write(target_, ec.message());
}

void keep_both(const Draft& one, const Draft& other) {
  // An advisory lock on the folder: it leaves no file, and ends with the program however that ends. Where it
  // cannot be had (some network file systems), two names are only as good as two renames.
  const fs::path folder = one.target().parent_path();
  const int lock = ::open(folder.empty() ? "." : folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
  if (lock >= 0) (void)::flock(lock, LOCK_EX);
  try {
    one.keep();
    other.keep();
  } catch (...) {
    if (lock >= 0) ::close(lock);
    throw;
  }
  if (lock >= 0) ::close(lock);
}

Error cannot_write(const fs::path& file, const std::string& why) {
  return unusable(
      fmt::format("{}: cannot be written: {}; choose another name or folder", file.string(), why));
}

}  // namespace linebench
