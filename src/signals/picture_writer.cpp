#include <dlfcn.h>
#include <fmt/format.h>

#include <cmath>
#include <cstdlib>
#include <exception>
#include <linebench/base/error.hpp>
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

void show_frames(const std::string& title, const FrameSource& source, double frame_rate_hz,
                 const StopFlag* stop) {
  if (std::getenv("DISPLAY") == nullptr && std::getenv("WAYLAND_DISPLAY") == nullptr) {
    throw unusable(
        "no screen to show a picture on (DISPLAY is not set); write it to a file with 'signals write'");
  }
  const int wait_ms = std::max(1, static_cast<int>(std::lround(1000 / frame_rate_hz)));
  with_picture_module("the picture cannot be shown", [&](PictureModule& m) {
    for (std::int64_t n = 0; stop == nullptr || !stop->load(); ++n) {
      if (!m.show(title, source(n), wait_ms)) return;
    }
  });
}

}  // namespace linebench::signals
