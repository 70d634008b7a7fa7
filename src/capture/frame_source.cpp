#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/text.hpp>
#include <linebench/dsp/vectorised.hpp>
#include <string_view>

#include "frame_readers.hpp"

namespace linebench::capture {
namespace {

namespace fs = std::filesystem;

std::string ending(const fs::path& file) { return lower_case(file.extension().string()); }

constexpr std::array<std::string_view, 12> movie_endings = {
    ".avi", ".mkv", ".mov", ".mp4", ".m4v", ".mpg", ".mpeg", ".ts", ".wmv", ".webm", ".mjpeg", ".dv"};

LINEBENCH_VECTORISED void split_pairs(const std::uint8_t* in, std::size_t pairs, std::uint8_t* y,
                                      std::uint8_t* cb, std::uint8_t* cr) {
  for (std::size_t i = 0; i < pairs; ++i) {
    y[2 * i] = in[4 * i];
    y[2 * i + 1] = in[4 * i + 2];
    cb[i] = in[4 * i + 1];
    cr[i] = in[4 * i + 3];
  }
}

}  // namespace

void unpack_yuyv(std::span<const std::uint8_t> bytes, int width, int height, Frame& frame) {
  const std::size_t n = static_cast<std::size_t>(width) * static_cast<std::size_t>(height);
  frame.y.resize(n);
  frame.cb.resize(n / 2);
  frame.cr.resize(n / 2);
  split_pairs(bytes.data(), n / 2, frame.y.data(), frame.cb.data(), frame.cr.data());
}

void from_bgr(std::span<const std::uint8_t> bgr, int width, int height, Frame& frame) {
  const std::size_t n = static_cast<std::size_t>(width) * static_cast<std::size_t>(height);
  frame.y.resize(n);
  frame.cb.resize(n / 2);
  frame.cr.resize(n / 2);
  // [BT.601] for full range R'G'B' of 8 bits: 219/255 and 224/255 times the matrix.
  constexpr float ky = 219.0F / 255;
  constexpr float kc = 224.0F / 255;
  const auto code = [](float v) { return static_cast<std::uint8_t>(std::clamp(std::lround(v), 1L, 254L)); };
  for (std::size_t pair = 0; pair < n / 2; ++pair) {
    float cb = 0;
    float cr = 0;
    for (std::size_t i = 2 * pair; i < 2 * pair + 2; ++i) {
      const float b = bgr[3 * i];
      const float g = bgr[3 * i + 1];
      const float r = bgr[3 * i + 2];
      const float luma = 0.299F * r + 0.587F * g + 0.114F * b;
      frame.y[i] = code(16 + ky * luma);
      cb += 0.5F * (b - luma) / 1.772F;
      cr += 0.5F * (r - luma) / 1.402F;
    }
    frame.cb[pair] = code(128 + kc * cb);
    frame.cr[pair] = code(128 + kc * cr);
  }
}

void check_frame_size(const std::string& source, int width, int height) {
  if (width < 64 || height < 64 || width % 2 != 0 || width > 8192 || height > 8192) {
    throw unusable(fmt::format(
        "{}: frames of {}x{} cannot be a grabber's; they are 720x576 or 720x480 as a rule (64 to 8192, even)",
        source, width, height));
  }
}

void guess_system(FrameFormat& f, double rate) {
  const bool rate_said = rate > 1 && rate < 1000;
  if (f.height == 576 || f.height == 288) {
    f.lines = 625;
  } else if (f.height == 480 || f.height == 486 || f.height == 240) {
    f.lines = 525;
  } else {
    f.lines = rate_said && std::abs(rate - 29.97) < 0.5 ? 525 : 625;
    f.lines_known = false;
  }
  f.frame_rate_hz = rate_said ? rate : f.lines == 525 ? 30000.0 / 1001 : 25.0;
  f.interlaced = f.height > 300;
}

bool looks_like_frames(const fs::path& file) {
  std::error_code ec;
  if (fs::is_directory(file, ec)) {
    for (const auto& e : fs::directory_iterator(file, ec)) {
      if (ending(e.path()) == ".png") return true;
    }
    return false;
  }
  const std::string e = ending(file);
  return e == ".yuv" || e == ".png" ||
         std::find(movie_endings.begin(), movie_endings.end(), e) != movie_endings.end();
}

std::unique_ptr<FrameSource> open_frames(const fs::path& file) {
  std::error_code ec;
  const bool folder = fs::is_directory(file, ec);
  if (!folder && !fs::exists(file, ec))
    throw unusable(fmt::format("{}: there is no such file; {}", file.string(),
                               file.string().find('%') != std::string::npos
                                   ? "of stills in a row name the first (NAME-001.png) or their folder"
                                   : "check the name"));
  if (!folder && fs::file_size(file, ec) == 0 && !ec)
    throw unusable(fmt::format("{}: the file is empty; take the capture again", file.string()));
  if (ending(file) == ".yuv") return open_yuv(file);
  if (folder || ending(file) == ".png") return open_stills(file);
  return open_movie(file);
}

}  // namespace linebench::capture
