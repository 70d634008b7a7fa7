#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/signals/picture_module.hpp>

#include "frame_readers.hpp"

namespace linebench::capture {
namespace {

using signals::MovieReader;

// Coders that keep every bit of what they are given.
constexpr std::array<std::string_view, 8> lossless = {"FFV1", "HFYU", "FFVH", "ULRG",
                                                      "ULY2", "png ", "MPNG", "G2M4"};

class Movie final : public FrameSource {
 public:
  explicit Movie(const std::filesystem::path& file) {
    reader_ =
        signals::with_picture_module(fmt::format("{} cannot be used as frames", file.string()),
                                     [&](signals::PictureModule& m) { return m.read_movie(file.string()); });
    const MovieReader::Info info = reader_->info();
    format_.width = info.width;
    format_.height = info.height;
    check_frame_size(file.filename().string(), info.width, info.height);
    guess_system(format_, info.frame_rate_hz);
    format_.through_rgb = !info.packed_yuv;
    const bool kept = info.packed_yuv || info.raw ||
                      std::find(lossless.begin(), lossless.end(), info.coder) != lossless.end();
    format_.lossy = !kept;
    facts_.source = file.filename().string();
    facts_.kind = "frames";
    facts_.format = fmt::format("movie, {} {}, {}x{}", info.raw ? "uncompressed" : "coder", info.coder,
                                info.width, info.height);
    facts_.sample_rate_hz = format_.frame_rate_hz;
    facts_.frames = info.frames > 0 ? static_cast<std::uint64_t>(info.frames) : 0;
    if (format_.lossy) {
      facts_.notes.push_back(fmt::format(
          "coder {} loses detail: levels, noise, edges and repeated frames are in doubt; take raw YUYV or "
          "FFV1",
          info.coder));
    }
    if (format_.through_rgb) {
      facts_.notes.emplace_back(
          "decoded to RGB on the way in: codes below 16 and above 235 are cut off and colour is "
          "interpolated; "
          "a raw .yuv or uncompressed 4:2:2 keeps them");
    }
    if (!format_.lines_known) {
      facts_.notes.push_back(
          fmt::format("{} rows fit no scanning system; taken as {} lines", info.height, format_.lines));
    }
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const FrameFormat& format() const override { return format_; }

  bool read(Frame& frame) override {
    const bool more =
        signals::with_picture_module(fmt::format("{}: frame {} cannot be read", facts_.source, at_),
                                     [&](signals::PictureModule&) { return reader_->read(image_); });
    if (!more) {
      if (at_ == 0) throw unusable(fmt::format("{}: there are no frames in it", facts_.source));
      facts_.frames = at_;
      return false;
    }
    if (image_.yuyv) {
      unpack_yuyv(image_.bgr, format_.width, format_.height, frame);
    } else {
      from_bgr(image_.bgr, format_.width, format_.height, frame);
    }
    frame.number = at_++;
    frame.corrupt = false;
    return true;
  }

 private:
  std::unique_ptr<MovieReader> reader_;
  signals::BgrImage image_;
  FrameFormat format_;
  CaptureFacts facts_;
  std::uint64_t at_ = 0;
};

}  // namespace

std::unique_ptr<FrameSource> open_movie(const std::filesystem::path& file) {
  return std::make_unique<Movie>(file);
}

}  // namespace linebench::capture
