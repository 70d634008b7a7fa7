#include <fmt/format.h>

#include <bit>
#include <cmath>
#include <cstring>
#include <fstream>
#include <linebench/base/error.hpp>
#include <vector>

#include "video_readers.hpp"

namespace linebench::capture {
namespace {

static_assert(std::endian::native == std::endian::little, "sample files are little endian");

enum class Format : std::uint8_t { U8, S16, F32 };

struct Layout {
  Format format;
  std::size_t bytes;
  const char* words;
};

Layout layout_of(const VideoSidecar& s) {
  if (s.format == "u8") return {Format::U8, 1, "raw, unsigned 8 bit"};
  if (s.format == "s16le") return {Format::S16, 2, "raw, signed 16 bit"};
  if (s.format == "f32le") return {Format::F32, 4, "raw, 32 bit float"};
  throw unusable(
      fmt::format("{}: format \"{}\" is not known; use s16le, f32le or u8", s.path, s.format.value_or("")));
}

class RawVideo : public VideoSource {
 public:
  RawVideo(const std::filesystem::path& file, const VideoSidecar& sidecar)
      : in_(file, std::ios::binary), layout_(layout_of(sidecar)) {
    const std::string name = file.filename().string();
    if (!in_)
      throw unusable(fmt::format("{}: cannot be opened; check that it is there and readable", file.string()));
    if (!sidecar.sample_rate_hz) {
      throw unusable(fmt::format("{}: \"sample_rate\" is missing; give samples per second", sidecar.path));
    }
    check_video_rate(name, *sidecar.sample_rate_hz, sidecar.path);
    if (!sidecar.scale && layout_.format != Format::F32) {
      throw unusable(fmt::format("{}: \"scale\" is missing; give volts per count", sidecar.path));
    }
    check_volts(sidecar.path, sidecar.scale.value_or(1.0), sidecar.offset.value_or(0.0), 65536);
    scale_ = static_cast<float>(sidecar.scale.value_or(1.0));
    offset_ = static_cast<float>(sidecar.offset.value_or(0.0));
    const auto size = std::filesystem::file_size(file);
    if (size == 0)
      throw unusable(fmt::format("{}: there are no samples in it; take the capture again", name));
    if (size % layout_.bytes != 0) {
      throw unusable(fmt::format(
          "{}: {} bytes are not a whole number of {} samples; {} gives another format than the file's, or "
          "the file was cut off",
          name, size, *sidecar.format, sidecar.path));
    }
    const std::uint64_t frames = size / layout_.bytes;
    if (sidecar.facts.frames > 0 && sidecar.facts.frames != frames) {
      throw unusable(
          fmt::format("{}: {} samples, but {} says {}; they do not belong together, or the file was cut off",
                      name, frames, sidecar.path, sidecar.facts.frames));
    }
    facts_ = sidecar.facts;
    facts_.source = name;
    facts_.kind = "composite samples";
    facts_.format = layout_.words;
    facts_.sample_rate_hz = *sidecar.sample_rate_hz;
    facts_.channels = 1;
    facts_.frames = frames;
    if (layout_.format == Format::S16) facts_.full_scale_v = std::abs(static_cast<double>(scale_)) * 32768;
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }

  std::size_t read(std::span<float> volts) override {
    bytes_.resize(volts.size() * layout_.bytes);
    in_.read(bytes_.data(), static_cast<std::streamsize>(bytes_.size()));
    const auto n = static_cast<std::size_t>(in_.gcount()) / layout_.bytes;
    if (n == 0) return 0;
    switch (layout_.format) {
      case Format::U8:
        for (std::size_t i = 0; i < n; ++i) {
          volts[i] = offset_ + scale_ * static_cast<float>(static_cast<unsigned char>(bytes_[i]));
        }
        break;
      case Format::S16:
        for (std::size_t i = 0; i < n; ++i) {
          std::int16_t v = 0;
          std::memcpy(&v, bytes_.data() + 2 * i, 2);
          volts[i] = offset_ + scale_ * static_cast<float>(v);
        }
        break;
      case Format::F32:
        std::memcpy(volts.data(), bytes_.data(), 4 * n);
        for (std::size_t i = 0; i < n; ++i) {
          volts[i] = offset_ + scale_ * volts[i];
          if (!std::isfinite(volts[i])) {
            const double at = static_cast<double>(at_ + i) / facts_.sample_rate_hz;
            throw unusable(
                fmt::format("{}: sample {} ({:.6f} s) is not a number; take the capture again or cut it out",
                            facts_.source, at_ + i, at));
          }
        }
        break;
    }
    at_ += n;
    return n;
  }

  [[nodiscard]] std::optional<Rails> rails() const override {
    const auto ends = [&](float lo, float hi) {
      const float a = offset_ + scale_ * lo;
      const float b = offset_ + scale_ * hi;
      return Rails{std::min(a, b), std::max(a, b)};
    };
    if (layout_.format == Format::U8) return ends(0, 255);
    if (layout_.format == Format::S16) return ends(-32767, 32767);
    return std::nullopt;
  }

 private:
  std::ifstream in_;
  Layout layout_;
  float scale_ = 1;
  float offset_ = 0;
  CaptureFacts facts_;
  std::vector<char> bytes_;
  std::uint64_t at_ = 0;
};

}  // namespace

std::unique_ptr<VideoSource> open_raw_video(const std::filesystem::path& file) {
  const auto sidecar = read_video_sidecar(file);
  if (!sidecar) {
    throw unusable(
        fmt::format("{}: its sidecar {} is missing; write one that gives sample_rate, unit, format and scale",
                    file.string(), video_sidecar_path(file).filename().string()));
  }
  return std::make_unique<RawVideo>(file, *sidecar);
}

}  // namespace linebench::capture
