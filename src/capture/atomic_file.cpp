#include <fcntl.h>
#include <fmt/format.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <sstream>
#include <system_error>

namespace linebench::capture {
namespace {

[[noreturn]] void fail(const std::filesystem::path& path, int code) {
  throw unusable(fmt::format("{}: cannot be stored: {}; free some space or choose a folder you may write to",
                             path.string(), std::strerror(code)));
}

bool write_all(int fd, const std::string& text) {
  std::size_t done = 0;
  while (done < text.size()) {
    const ssize_t n = ::write(fd, text.data() + done, text.size() - done);
    if (n < 0 && errno == EINTR) continue;
    if (n < 0) return false;
    done += static_cast<std::size_t>(n);
  }
  return ::fsync(fd) == 0 || errno == EINVAL;  // EINVAL: the file system has nothing to bring to a disk
}

}  // namespace

void store_text(const std::filesystem::path& path, const std::string& text) {
  std::error_code ec;
  if (path.has_parent_path()) std::filesystem::create_directories(path.parent_path(), ec);
  if (ec) fail(path, ec.value());
  std::string temporary = path.string() + ".XXXXXX";
  const int fd = ::mkstemp(temporary.data());
  if (fd < 0) fail(path, errno);
  const bool written = write_all(fd, text);
  int code = errno;
  if (written) (void)::fchmod(fd, 0644);
  const bool closed = ::close(fd) == 0;
  if (written && !closed) code = errno;
  if (written && closed) {
    std::filesystem::rename(temporary, path, ec);
    if (!ec) return;
    code = ec.value();
  }
  ::unlink(temporary.c_str());
  fail(path, code);
}

int open_as_only_writer(const std::filesystem::path& path) {
  const int fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0644);
  if (fd < 0) {
    throw unusable(fmt::format("{}: cannot be written ({}); check the folder and your rights in it",
                               path.string(), std::strerror(errno)));
  }
  // Some network file systems know no locks; all others do.
  if (::flock(fd, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK) {
    ::close(fd);
    throw unusable(
        fmt::format("{}: another program is writing it; choose another name or end that one", path.string()));
  }
  (void)!::ftruncate(fd, 0);  // what is no plain file has no length
  return fd;
}

std::string load_text(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  if (in) text << in.rdbuf();
  if (!in || in.bad())
    throw unusable(fmt::format("{}: cannot be read; check that it exists and may be read", path.string()));
  return text.str();
}

}  // namespace linebench::capture
