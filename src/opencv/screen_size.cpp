#include "screen_size.hpp"

#include <dlfcn.h>

namespace linebench::picture {

// The window library brings Xlib with it; looked up at run time, since other window systems do without.
cv::Size screen_size() {
  void* x = dlopen("libX11.so.6", RTLD_LAZY | RTLD_LOCAL);
  if (x == nullptr) return {};
  const auto open = reinterpret_cast<void* (*)(const char*)>(dlsym(x, "XOpenDisplay"));
  const auto close = reinterpret_cast<int (*)(void*)>(dlsym(x, "XCloseDisplay"));
  const auto screen = reinterpret_cast<int (*)(void*)>(dlsym(x, "XDefaultScreen"));
  const auto width = reinterpret_cast<int (*)(void*, int)>(dlsym(x, "XDisplayWidth"));
  const auto height = reinterpret_cast<int (*)(void*, int)>(dlsym(x, "XDisplayHeight"));
  cv::Size size;
  if (open != nullptr && close != nullptr && screen != nullptr && width != nullptr && height != nullptr) {
    if (void* display = open(nullptr); display != nullptr) {
      size = {width(display, screen(display)), height(display, screen(display))};
      close(display);
    }
  }
  return size;  // the library stays: others use it
}

}  // namespace linebench::picture
