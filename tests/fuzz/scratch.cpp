#include "scratch.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <linebench/base/facts.hpp>
#include <nlohmann/json.hpp>
#include <stdexcept>
#include <vector>
#include <where.hpp>

#include "capture/temp_folder.hpp"
#include "target.hpp"

namespace fuzz {

namespace fs = std::filesystem;
using namespace linebench;

namespace {

constexpr std::size_t most_samples = 4'000'000;
constexpr int most_frames = 16;

bool finite(std::span<const float> x) {
  return std::ranges::all_of(x, [](float v) { return std::isfinite(v); });
}

// What is known of a capture must fit into the JSON it ends in.
void require_json(const CaptureFacts& facts) { (void)facts_to_json(facts).dump(); }

}  // namespace

const fs::path& scratch_folder() {
  static const TempFolder folder;
  return folder.path();
}

fs::path scratch(const fs::path& name, std::string_view content) {
  const fs::path path = scratch_folder() / name;
  fs::create_directories(path.parent_path());
  const int file = ::open(path.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644);
  const bool good =
      file >= 0 && ::write(file, content.data(), content.size()) == static_cast<ssize_t>(content.size());
  if (file >= 0) ::close(file);
  if (!good) throw std::runtime_error("cannot write " + path.string());
  return path;
}

void read_all(AudioSource& source) {
  require_json(source.facts());
  const auto channels = static_cast<std::size_t>(source.facts().channels);
  std::vector<float> block(channels * std::max<std::size_t>(1, 8192 / channels));
  for (std::size_t all = 0; all < most_samples;) {
    const std::size_t n = source.read(block) * channels;
    if (n == 0) break;
    require(n <= block.size(), "no more samples than asked for");
    require(finite(std::span(block).first(n)), "finite samples");
    all += n;
  }
  require_json(source.facts());
}

void read_all(capture::VideoSource& source) {
  require_json(source.facts());
  require(std::isfinite(source.facts().sample_rate_hz) && source.facts().sample_rate_hz > 0, "a rate");
  std::vector<float> block(8192);
  for (std::size_t all = 0; all < most_samples;) {
    const std::size_t n = source.read(block);
    if (n == 0) break;
    require(n <= block.size(), "no more samples than asked for");
    require(finite(std::span(block).first(n)), "finite volts");
    all += n;
  }
  const auto rails = source.rails();
  require(!rails || rails->low <= rails->high, "rails in order");
  require_json(source.facts());
}

void read_all(capture::FrameSource& source) {
  require_json(source.facts());
  const capture::FrameFormat f = source.format();
  require(f.lines == 525 || f.lines == 625, "a line standard");
  require(std::isfinite(f.frame_rate_hz) && f.frame_rate_hz > 0, "a frame rate");
  const auto pixels = static_cast<std::size_t>(f.width) * static_cast<std::size_t>(f.height);
  capture::Frame frame;
  for (int i = 0; i < most_frames && source.read(frame); ++i) {
    require(frame.y.size() == pixels && frame.cb.size() == pixels / 2 && frame.cr.size() == pixels / 2,
            "frames of the size said");
  }
}

const diagnose::FaultBook& shipped_book() {
  static const diagnose::FaultBook book =
      diagnose::load_fault_book({fs::path(LINEBENCH_SOURCE_DIR) / "signals" / "faults"});
  return book;
}

}  // namespace fuzz
