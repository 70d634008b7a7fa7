#include <dlfcn.h>
#include <fmt/format.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <cmath>
#include <cstdlib>
#include <exception>
#include <linebench/base/error.hpp>
#include <linebench/base/quiet_stderr.hpp>
#include <linebench/signals/picture_module.hpp>
#include <linebench/signals/picture_writer.hpp>
#include <mutex>
#include <system_error>

namespace linebench::signals {
namespace {

namespace fs = std::filesystem;

constexpr const char* module_file = "linebench_opencv.so";

// Beside the program, one folder up (test programs) or in the folder libraries are installed to.
fs::path find_module() {
  std::error_code ec;
  const fs::path folder = fs::read_symlink("/proc/self/exe", ec).parent_path();
  for (const char* place : {".", "..", "../lib/linebench"}) {
    const fs::path file = folder / place / module_file;
    if (fs::exists(file, ec)) return file;
  }
  throw unusable(fmt::format("pictures need {}, which is not beside the program ({}); build or install it",
                             module_file, folder.string()));
}

bool screen_named() {
  for (const char* name : {"DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"})
    if (const char* value = std::getenv(name); value != nullptr && *value != '\0') return true;
  return false;
}

// The window library ends the process that cannot reach a screen, so another one tries.
bool screen_answers() {
  const pid_t child = fork();
  if (child < 0) return true;
  if (child == 0) {
    const QuietStderr quiet;
    const rlimit none{};
    (void)setrlimit(RLIMIT_CORE, &none);
    int status = 1;
    try {
      picture_module().try_screen();
      status = 0;
    } catch (...) {
      status = 1;
    }
    _exit(status);
  }
  int status = 0;
  while (waitpid(child, &status, 0) < 0 && errno == EINTR) {
  }
  return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

}  // namespace

PictureModule& picture_module() {
  static const std::unique_ptr<PictureModule> loaded = [] {
    const fs::path file = find_module();
    void* handle = ::dlopen(file.c_str(), RTLD_NOW | RTLD_LOCAL);  // stays loaded: its code outlives main
    if (handle == nullptr) {
      const char* why = ::dlerror();
      throw unusable(
          fmt::format("pictures need {}, which cannot be loaded: {}; install OpenCV 4 or build again",
                      file.string(), why != nullptr ? why : "no reason given"));
    }
    const auto make = reinterpret_cast<PictureModuleFactory>(::dlsym(handle, picture_module_factory_name));
    if (make == nullptr)
      throw unusable(fmt::format("{} is not this program's picture module; build again", file.string()));
    return std::unique_ptr<PictureModule>(make());
  }();
  return *loaded;
}

void rethrow_worded(const std::string& what) {
  try {
    throw;
  } catch (const Error&) {
    throw;
  } catch (const std::exception& e) {
    std::string why = e.what();
    while (!why.empty() && (why.back() == '\n' || why.back() == ' ')) why.pop_back();
    throw unusable(fmt::format("{}: {}", what, why));
  }
}

void write_png(const fs::path& file, const YuyvFrame& frame) {
  with_picture_module(fmt::format("{} cannot be written", file.string()),
                      [&](PictureModule& m) { m.write_png(file.string(), frame); });
}

void write_drawing(const fs::path& file, const Drawing& drawing) {
  with_picture_module(fmt::format("{} cannot be written", file.string()),
                      [&](PictureModule& m) { m.write_drawing(file.string(), drawing); });
}

std::int64_t write_avi(const fs::path& file, const FrameSource& source, std::int64_t frames,
                       double frame_rate_hz, const Progress& progress, const StopFlag* stop) {
  return with_picture_module(fmt::format("{} cannot be written", file.string()), [&](PictureModule& m) {
    std::unique_ptr<MovieWriter> movie;
    std::int64_t n = 0;
    for (; n < frames && (stop == nullptr || !stop->load()); ++n) {
      const YuyvFrame frame = source(n);
      if (!movie) movie = m.open_avi(file.string(), frame.width, frame.height, frame_rate_hz);
      movie->write(frame);
      if (progress) progress(static_cast<double>(n + 1) / static_cast<double>(frames), "writing");
    }
    return n;
  });
}

std::int64_t show_frames(const std::string& title, const FrameSource& source, double frame_rate_hz,
                         const ScreenOptions& o, const StopFlag* stop) {
  if (!(o.border >= 0 && o.border <= 0.1))
    throw bad_usage(fmt::format("--border {:g}: give 0 to 10 %", 100 * o.border));
  // Words of the window library's own on standard error are nobody's help.
  (void)setenv("QT_LOGGING_RULES", "*=false", 0);
  if (!screen_named() || !screen_answers())
    throw unusable(
        "there is no screen to show a picture on (no window system answers); write it to a file instead "
        "(linebench signals write NAME --out NAME.avi) and show that with a media player, full screen");
  const int wait_ms = std::max(1, static_cast<int>(std::lround(1000 / frame_rate_hz)));
  return with_picture_module("the picture cannot be shown", [&](PictureModule& m) {
    std::int64_t n = 0;
    for (; (stop == nullptr || !stop->load()) && (!o.frames || n < *o.frames); ++n)
      if (!m.show(title, source(n), o.border, wait_ms)) break;
    m.hide();
    return n;
  });
}

}  // namespace linebench::signals
