#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/capture/lent_frames.hpp>
#include <linebench/check/picture_soak.hpp>
#include <linebench/check/soak.hpp>
#include <linebench/measure/picture.hpp>
#include <linebench/measure/picture_signal.hpp>
#include <optional>
#include <vector>

namespace linebench::check {
namespace {

using Kind = PictureEvent::Kind;

constexpr std::size_t most_times = 500;
constexpr double together_s = 1;   // losses closer than this are one
constexpr double jump_lines = 16;  // a tap on a camera shakes the picture by less
constexpr double roll_lines = 0.1;
constexpr double tear_px = 2;
constexpr std::size_t shortest_window = 4;  // frames

struct Loss {
  double from_s = 0, to_s = 0;
};

struct Largest {
  std::optional<Reading> reading;
  // Counts what is surely beyond `least` only. @return whether it is.
  bool take(const Reading* r, double least) {
    if (r == nullptr || !r->measured() || std::abs(r->number()) - r->uncertainty.value_or(0) < least)
      return false;
    if (!reading || std::abs(r->number()) > std::abs(reading->number())) reading = *r;
    return true;
  }
};

}  // namespace

struct PictureSoak::Impl {
  Impl(const capture::FrameFormat& f, std::function<void(const PictureEvent&)> t)
      : format(f), told(std::move(t)), length(static_cast<std::size_t>(std::lround(f.frame_rate_hz)) + 1) {
    frames.resize(length);
    at_s.resize(length);
  }

  void tell(Kind kind, double at, double amount = 0) const {
    if (told) told({kind, at, amount});
  }

  // One loss that goes on over windows, or comes again at once, is one. @return whether it is a new one.
  bool lose(double from, double to) {
    if (last && from - last->to_s < together_s) {
      last->to_s = std::max(last->to_s, to);
      if (times.x.size() == static_cast<std::size_t>(count)) times.y.back() = last->to_s - last->from_s;
      return false;
    }
    last = Loss{from, to};
    count += 1;
    if (times.x.size() < most_times) {
      times.x.push_back(from);
      times.y.push_back(to - from);
    }
    return true;
  }

  // Black with a grabber's noise on it, from one frame to the next: a signal that went, or all light. A scene
  // that grows dark gets there by and by.
  bool gone_black() {
    black = watch.black() && (black || since_bright <= 1);  // one may be cut in the midst of it
    frames_black += black ? 1 : 0;
    since_bright = watch.bright() ? 0 : since_bright + 1;
    return black;
  }

  // @return whether the frame carries a picture.
  bool follow_signal(const capture::Frame& frame, double at) {
    const bool nothing = !watch.look(frame, format).empty();
    const bool dark = gone_black();
    const bool there = !nothing && !dark;
    came = came || there;
    if (!came) return false;
    if (!there) {
      frames_without += 1;
      (void)lose(gone ? last->from_s : at, at + 1 / format.frame_rate_hz);
      if (!gone) tell(Kind::Gone, at);
    } else if (gone) {
      tell(Kind::Back, at);
    }
    gone = !there;
    return there;
  }

  // Frames that stand elsewhere, and those that could not be followed between two that could.
  void follow_place(const measure::PictureTraces& t, std::size_t n) {
    ++windows;
    if (t.roll_s.empty()) {
      ++blind;
      return;
    }
    const double frame_s = 1 / format.frame_rate_hz;
    const auto time = [&](double s) { return at_s[0] + s; };
    const double end_s = static_cast<double>(n - 1) * frame_s;
    std::optional<double> away;  // since when
    for (std::size_t i = 1; i < t.roll_s.size(); ++i) {
      const bool skipped = t.roll_s[i] - t.roll_s[i - 1] > 1.5 * frame_s;
      const bool jumped = std::abs(t.roll_lines[i] - t.roll_lines[i - 1]) > jump_lines;
      if (skipped || jumped) {
        if (!away) away = skipped ? t.roll_s[i - 1] + frame_s : t.roll_s[i];
      } else if (away) {
        jump(time(*away), time(t.roll_s[i - 1]));
        away.reset();
      }
    }
    const double last_s = t.roll_s.back();
    if (!away && end_s - last_s > 1.5 * frame_s) away = last_s + frame_s;
    if (away) jump(time(*away), time(end_s));
  }
  void jump(double from, double to) {
    const double until = std::max(to, from + 1 / format.frame_rate_hz);
    if (lose(from, until)) tell(Kind::Jump, from, until - from);
  }

  void follow_rest(const Readings& readings, double from, double to) {
    const bool rolls = roll.take(find_reading(readings, "picture.roll"), roll_lines);
    if (rolls && !rolling) tell(Kind::Roll, from, find_reading(readings, "picture.roll")->number());
    if (rolls) (void)lose(from, to);
    rolling = rolls;
    const bool tears = tear.take(find_reading(readings, "picture.tear"), tear_px);
    if (tears && !torn) tell(Kind::Tear, from, find_reading(readings, "picture.tear")->number());
    if (tears) (void)lose(from, to);
    torn = tears;
    if (const Reading* c = find_reading(readings, "picture.colour"); c != nullptr && c->measured()) {
      const bool colour = c->text() == "present";
      if (coloured && *coloured && !colour) {
        tell(Kind::ColourGone, from);
        if (colour_losses++ == 0) colour_lost_s = from;
      }
      if (coloured && !*coloured && colour && colour_losses > 0) tell(Kind::ColourBack, from);
      had_colour = had_colour || colour;
      coloured = colour;
    }
    if (const Reading* d = find_reading(readings, "picture.frames.duplicated");
        d != nullptr && d->measured()) {
      duplicated += d->number();
      told_duplicates = true;
    }
  }

  // @param n frames in the window, the first of them the last of the window before.
  void measure(std::size_t n) {
    if (n < shortest_window) return;
    for (std::size_t i = 0; i < n; ++i) frames[i].number = i;
    capture::LentFrames source(std::span<const capture::Frame>(frames).first(n), format);
    measure::PictureTraces traces;
    const Readings readings = measure::measure_picture(source, {}, {}, nullptr, &traces);
    const double from = at_s[0];
    const double to = at_s[n - 1];
    // The whole second first: a jump at its end belongs to the tear or roll that ends there.
    follow_rest(readings, from, to);
    follow_place(traces, n);
  }

  void push(capture::Frame& frame, double at) {
    if (pushed > 0 && at - latest_s > together_s) {
      measure(filled);
      filled = 0;
      if (lose(latest_s, at)) tell(Kind::Stall, latest_s, at - latest_s);
    }
    latest_s = at;
    ++pushed;
    if (!follow_signal(frame, at)) {
      measure(filled);
      filled = 0;
      return;
    }
    at_s[filled] = at;
    std::swap(frames[filled++], frame);
    if (filled < length) return;
    measure(length);
    std::swap(frames.front(), frames.back());
    at_s.front() = at_s.back();
    filled = 1;
  }

  [[nodiscard]] Reading losses() const {
    const char* id = "picture.sync.loss.count";
    if (!came) return unmeasurable(id, "no picture came in");
    if (count == 0 && 2 * blind > windows)
      return unmeasurable(
          id,
          "the picture is too plain for a jump to show; point the camera at a card that fills "
          "half of it");
    return number_reading(id, count, std::nullopt);
  }
  [[nodiscard]] Reading colour() const {
    if (!had_colour) return unmeasurable("picture.colour", "no colour came in");
    if (colour_losses == 0) return text_reading("picture.colour", "present");
    return text_reading("picture.colour", "none",
                        fmt::format("it went away {} time{}, first at {}", colour_losses,
                                    colour_losses == 1 ? "" : "s", soak_time(colour_lost_s)));
  }

  capture::FrameFormat format;
  std::function<void(const PictureEvent&)> told;
  std::size_t length;  // of a window, frames: a second and the one before it
  std::vector<capture::Frame> frames;
  std::vector<double> at_s;
  std::size_t filled = 0;
  measure::SignalWatch watch;
  bool black = false;
  int since_bright = 1000;  // frames
  std::uint64_t frames_black = 0;
  std::uint64_t pushed = 0;
  double latest_s = 0;
  bool came = false, gone = false, rolling = false, torn = false, had_colour = false;
  std::optional<bool> coloured;
  int colour_losses = 0;
  double colour_lost_s = 0;
  std::optional<Loss> last;
  double count = 0;
  Curve times{{}, {}, "s", "s long", {}};
  double frames_without = 0, duplicated = 0;
  bool told_duplicates = false;
  std::uint64_t windows = 0, blind = 0;
  Largest roll, tear;
};

PictureSoak::PictureSoak(const capture::FrameFormat& format, std::function<void(const PictureEvent&)> told)
    : impl_(std::make_unique<Impl>(format, std::move(told))) {}
PictureSoak::~PictureSoak() = default;

void PictureSoak::push(capture::Frame& frame, double at_s) { impl_->push(frame, at_s); }

Readings PictureSoak::finish() {
  Impl& s = *impl_;
  if (s.pushed + 1 < s.length) throw unusable("the long run holds less than a second; let it run on");
  s.measure(s.filled);
  s.filled = 0;
  Readings out;
  out.push_back(s.came ? text_reading("picture.signal", "present")
                       : text_reading("picture.signal", "none", "no picture came in all the while"));
  if (s.came)
    out.push_back(number_reading(
        "picture.signal.lost", s.frames_without, std::nullopt,
        s.frames_black == 0
            ? ""
            : fmt::format("{} of them black from one frame to the next: a signal that went, or light "
                          "that was switched off",
                          s.frames_black)));
  out.push_back(s.losses());
  if (!s.times.x.empty())
    out.push_back(curve_reading("picture.sync.loss.times", s.times, std::nullopt,
                                s.count > static_cast<double>(most_times)
                                    ? fmt::format("the first {} are kept with their times", most_times)
                                    : ""));
  if (s.roll.reading) out.push_back(*s.roll.reading);
  if (s.tear.reading) out.push_back(*s.tear.reading);
  out.push_back(s.colour());
  if (s.told_duplicates)
    out.push_back(number_reading("picture.frames.duplicated", s.duplicated, std::nullopt));
  return out;
}

}  // namespace linebench::check
