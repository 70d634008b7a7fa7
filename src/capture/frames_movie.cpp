#include <fmt/format.h>

#include <linebench/base/error.hpp>
#include <linebench/signals/picture_module.hpp>

#include "frame_readers.hpp"

namespace linebench::capture {
namespace {

using signals::MovieReader;

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
    format_.through_rgb = !info.yuyv;
    format_.lossy = !info.lossless;
    if (format_.interlaced) format_.top_field_first = info.top_field_first;
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
          "stored as RGB: codes below 16 and above 235, and colours beyond red, green or blue of 0 and 255, "
          "were cut off when it was made; a raw .yuv or a movie of 4:2:2 keeps them");
    }
    if (info.full_range)
      facts_.notes.emplace_back("its luma goes from 0 to 255; brought to 16 to 235, rounded once more");
    if (info.chroma_420)
      facts_.notes.emplace_back(
          "one row of colour for two of luma (4:2:0): colour is less sharp up and down");
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
    frame.corrupt = image_.damaged;
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
