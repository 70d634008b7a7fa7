#include <fmt/format.h>

#include <linebench/base/error.hpp>
#include <linebench/capture/lent_frames.hpp>
#include <linebench/live/picture_meter.hpp>
#include <utility>

namespace linebench::live {
namespace {

constexpr int thumbnail_px = 120;
constexpr std::uint64_t thumbnail_every = 5;

}  // namespace

struct PictureMeter::Impl {
  Impl(const capture::FrameFormat& f, const measure::PictureOptions& o) : format(f), options(o) {
    frames.resize(run_frames);
    view.readings = {unmeasurable("picture.signal", "no frame has come yet")};
  }

  bool push(capture::Frame& frame) {
    const auto pixels = static_cast<std::size_t>(format.width) * static_cast<std::size_t>(format.height);
    if (frame.y.size() != pixels || frame.cb.size() != pixels / 2 || frame.cr.size() != pixels / 2) {
      throw unusable(fmt::format("frames of {} luma samples come where {}x{} was set; start again",
                                 frame.y.size(), format.width, format.height));
    }
    count(frame.number);
    view.time_s = static_cast<double>(frames_passed) / format.frame_rate_hz;
    const bool small = pushed++ % thumbnail_every == 0;
    if (small) view.thumbnail = make_thumbnail(frame, format, thumbnail_px);
    std::swap(frames[filled++], frame);
    if (filled < run_frames) return small;
    filled = 0;
    capture::LentFrames run(frames, format);
    view.readings = measure::measure_picture(run, options);
    say_wire();
    return true;
  }

  // A run that reaches over a second without frames, or over a device's count that began anew, would be
  // fitted to times that were not.
  void count(std::uint64_t number) {
    const bool forward = frames_passed > 0 && number > last;
    const std::uint64_t step = forward ? number - last : 1;
    if (frames_passed > 0 && (!forward || static_cast<double>(step) > format.frame_rate_hz)) filled = 0;
    frames_passed += step;
    last = number;
  }

  void say_wire() {
    if (signal != "none" && signal != "no lock") return;
    for (Reading& r : view.readings) {
      const bool itself = r.id == "picture.signal";
      r = itself ? text_reading(r.id, "none",
                                signal == "none" ? "the grabber's driver sees no signal on the wire"
                                                 : "the grabber cannot lock to what is on the wire")
                 : unmeasurable(r.id, "no picture: the grabber's driver says " + signal);
    }
  }

  capture::FrameFormat format;
  measure::PictureOptions options;
  std::vector<capture::Frame> frames;
  std::size_t filled = 0;
  std::uint64_t pushed = 0, last = 0;
  std::uint64_t frames_passed = 0;  ///< lost ones counted
  std::string signal;
  PictureView view;
};

PictureMeter::PictureMeter(const capture::FrameFormat& format, const measure::PictureOptions& options)
    : impl_(std::make_unique<Impl>(format, options)) {}
PictureMeter::~PictureMeter() = default;
PictureMeter::PictureMeter(PictureMeter&&) noexcept = default;
PictureMeter& PictureMeter::operator=(PictureMeter&&) noexcept = default;

bool PictureMeter::push(capture::Frame& frame) { return impl_->push(frame); }
const PictureView& PictureMeter::view() const { return impl_->view; }
void PictureMeter::gap() { impl_->filled = 0; }
void PictureMeter::wire(std::string signal) {
  if (signal == impl_->signal) return;
  impl_->signal = std::move(signal);
  impl_->say_wire();
}

}  // namespace linebench::live
