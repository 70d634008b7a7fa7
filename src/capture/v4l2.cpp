// Grabbers by V4L2 ioctls: input, standard and format set in that order and read back, buffers mapped. Plain
// ioctls because OpenCV hides inputs, standards, signal status, sequence numbers and the error flag.
#include <fcntl.h>
#include <fmt/format.h>
#include <linux/videodev2.h>
#include <poll.h>
#include <sys/ioctl.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <filesystem>
#include <linebench/base/error.hpp>
#include <linebench/capture/grabber.hpp>

namespace linebench::capture {
namespace {

int ask(int fd, unsigned long request, void* argument) {
  int r = 0;
  do {
    r = ::ioctl(fd, request, argument);
  } while (r < 0 && errno == EINTR);
  return r;
}

std::string text_of(const __u8* bytes, std::size_t most) {
  const char* c = reinterpret_cast<const char*>(bytes);
  return {c, strnlen(c, most)};
}
std::string fourcc_of(__u32 code) {
  std::string s;
  for (int i = 0; i < 4; ++i) s += static_cast<char>((code >> (8 * i)) & 0x7f);
  while (!s.empty() && s.back() == ' ') s.pop_back();
  return s;
}

class Descriptor {
 public:
  explicit Descriptor(const std::string& path) : fd_(::open(path.c_str(), O_RDWR | O_NONBLOCK | O_CLOEXEC)) {}
  ~Descriptor() {
    if (fd_ >= 0) ::close(fd_);
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  [[nodiscard]] int get() const { return fd_; }

 private:
  int fd_;
};

SignalState state_of(const v4l2_input& in) {
  if ((in.status & (V4L2_IN_ST_NO_SIGNAL | V4L2_IN_ST_NO_POWER)) != 0) return SignalState::None;
  if ((in.status & (V4L2_IN_ST_NO_H_LOCK | V4L2_IN_ST_NO_V_LOCK | V4L2_IN_ST_NO_SYNC)) != 0)
    return SignalState::NoLock;
  // Drivers that never look leave 0 as well.
  return SignalState::Present;
}

std::optional<Grabber> describe(const std::string& path) {
  const Descriptor d(path);
  if (d.get() < 0) return std::nullopt;
  v4l2_capability cap{};
  if (ask(d.get(), VIDIOC_QUERYCAP, &cap) < 0) return std::nullopt;
  const __u32 can = (cap.capabilities & V4L2_CAP_DEVICE_CAPS) != 0 ? cap.device_caps : cap.capabilities;
  if ((can & V4L2_CAP_VIDEO_CAPTURE) == 0 || (can & V4L2_CAP_STREAMING) == 0) return std::nullopt;
  Grabber g;
  g.path = path;
  g.name = text_of(cap.card, sizeof cap.card);
  g.bus = text_of(cap.bus_info, sizeof cap.bus_info);
  int current = -1;
  (void)ask(d.get(), VIDIOC_G_INPUT, &current);
  for (__u32 i = 0; i < 32; ++i) {
    v4l2_input in{};
    in.index = i;
    if (ask(d.get(), VIDIOC_ENUMINPUT, &in) < 0) break;
    GrabberInput input;
    input.index = static_cast<int>(i);
    input.name = text_of(in.name, sizeof in.name);
    input.has_525 = (in.std & V4L2_STD_525_60) != 0;
    input.has_625 = (in.std & V4L2_STD_625_50) != 0;
    // Of inputs that are not switched through, drivers know nothing.
    if (static_cast<int>(i) == current || in.status != 0) input.signal = state_of(in);
    g.television = g.television || in.std != 0;
    g.inputs.push_back(input);
  }
  for (__u32 i = 0; i < 64; ++i) {
    v4l2_fmtdesc f{};
    f.index = i;
    f.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (ask(d.get(), VIDIOC_ENUM_FMT, &f) < 0) break;
    g.formats.push_back(fourcc_of(f.pixelformat));
  }
  return g;
}

class Stream final : public GrabberStream {
 public:
  explicit Stream(const GrabberPlan& plan) : name_(plan.grabber.identity()), d_(plan.grabber.path) {
    if (d_.get() < 0) fail("open it");
    set_input(plan.input);
    if (plan.input.has_525 || plan.input.has_625) set_standard(plan);
    set_format(plan);
    map_buffers();
  }
  ~Stream() override {
    stop();
    for (const Mapped& m : buffers_) ::munmap(m.start, m.length);
  }

  [[nodiscard]] const GrabberSetting& setting() const override { return setting_; }

  void start() override {
    for (std::size_t i = 0; i < buffers_.size(); ++i) queue(static_cast<__u32>(i));
    int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (ask(d_.get(), VIDIOC_STREAMON, &type) < 0) fail("start it");
    running_ = true;
  }

  WaitResult wait(std::chrono::milliseconds most, GrabbedFrame& frame) override {
    if (held_ >= 0) {
      if (!queue(static_cast<__u32>(held_))) return WaitResult::Lost;
      held_ = -1;
    }
    pollfd p{d_.get(), POLLIN, 0};
    const int ready = ::poll(&p, 1, static_cast<int>(most.count()));
    if (ready < 0) return errno == EINTR ? WaitResult::Timeout : WaitResult::Lost;
    if (ready == 0) return WaitResult::Timeout;
    v4l2_buffer b{};
    b.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    b.memory = V4L2_MEMORY_MMAP;
    if (ask(d_.get(), VIDIOC_DQBUF, &b) < 0) return errno == EAGAIN ? WaitResult::Timeout : WaitResult::Lost;
    held_ = static_cast<int>(b.index);
    const Mapped& m = buffers_[b.index];
    frame.bytes = {static_cast<const std::uint8_t*>(m.start), std::min<std::size_t>(b.bytesused, m.length)};
    frame.sequence = b.sequence;
    frame.corrupt = (b.flags & V4L2_BUF_FLAG_ERROR) != 0;
    return WaitResult::Frame;
  }

  void stop() noexcept override {
    if (!running_) return;
    running_ = false;
    int type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    (void)ask(d_.get(), VIDIOC_STREAMOFF, &type);
  }

  Wire wire() override {
    Wire w;
    v4l2_input in{};
    in.index = static_cast<__u32>(input_);
    if (ask(d_.get(), VIDIOC_ENUMINPUT, &in) == 0) w.signal = state_of(in);
    w.lines = detected_lines();
    return w;
  }

 private:
  struct Mapped {
    void* start;
    std::size_t length;
  };

  [[noreturn]] void fail(const char* doing) const {
    const int e = errno;
    const char* hint = e == EBUSY    ? "; close the program that uses it"
                       : e == EACCES ? "; reading it needs the group video"
                                     : "; unplug it and plug it in again";
    throw unusable(fmt::format("{}: cannot {}: {}{}", name_, doing, std::strerror(e), hint));
  }

  void set_input(const GrabberInput& input) {
    input_ = input.index;
    int index = input.index;
    if (ask(d_.get(), VIDIOC_S_INPUT, &index) < 0 && errno != ENOTTY) fail("choose its input");
    int now = index;
    if (ask(d_.get(), VIDIOC_G_INPUT, &now) == 0 && now != input.index) {
      input_ = now;
      setting_.notes.push_back(
          fmt::format("the driver took input {} instead of {} ({})", now, input.index, input.name));
    }
  }

  // 0 where the driver cannot tell, or finds both or none.
  int detected_lines() {
    v4l2_std_id id = 0;
    if (ask(d_.get(), VIDIOC_QUERYSTD, &id) < 0) return 0;
    const bool has_525 = (id & V4L2_STD_525_60) != 0;
    const bool has_625 = (id & V4L2_STD_625_50) != 0;
    return has_525 == has_625 ? 0 : has_525 ? 525 : 625;
  }

  void set_standard(const GrabberPlan& plan) {
    int lines = plan.lines;
    if (lines == 0) lines = detected_lines();
    v4l2_std_id now = 0;
    const bool known = ask(d_.get(), VIDIOC_G_STD, &now) == 0;
    if (lines == 0 && known) lines = (now & V4L2_STD_625_50) != 0 ? 625 : 525;
    const v4l2_std_id family = lines == 525 ? V4L2_STD_525_60 : V4L2_STD_625_50;
    if (!known || (now & family) == 0) {
      v4l2_std_id want = lines == 525 ? V4L2_STD_NTSC : V4L2_STD_PAL;
      if (ask(d_.get(), VIDIOC_S_STD, &want) < 0)
        setting_.notes.push_back(
            fmt::format("the driver would not take the {}-line standard: {}", lines, std::strerror(errno)));
      (void)ask(d_.get(), VIDIOC_G_STD, &now);
    }
    const bool is_525 = (now & V4L2_STD_525_60) != 0;
    setting_.standard = (now & V4L2_STD_PAL) != 0     ? "PAL"
                        : (now & V4L2_STD_NTSC) != 0  ? "NTSC"
                        : (now & V4L2_STD_SECAM) != 0 ? "SECAM"
                                                      : "";
    setting_.format.lines = is_525 ? 525 : 625;
    if (plan.lines != 0 && plan.lines != setting_.format.lines)
      setting_.notes.push_back(fmt::format("the driver stays at {} lines", setting_.format.lines));
  }

  void set_format(const GrabberPlan& plan) {
    const Grabber& g = plan.grabber;
    const char* code = g.sends("YUYV")   ? "YUYV"
                       : g.sends("UYVY") ? "UYVY"
                       : g.sends("MJPG") ? "MJPG"
                                         : nullptr;
    if (code == nullptr)
      throw unusable(
          fmt::format("{}: sends none of YUYV, UYVY and MJPEG; this grabber cannot be used", name_));
    if (std::strcmp(code, "MJPG") == 0 && !plan.allow_compressed) {
      throw unusable(
          fmt::format("{}: sends MJPEG only, which loses level, noise and edges; use another grabber, or "
                      "take it all the same "
                      "with --compressed",
                      name_));
    }
    const bool television = plan.input.has_525 || plan.input.has_625;
    v4l2_format f{};
    f.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    f.fmt.pix.width = 720;
    f.fmt.pix.height = !television || setting_.format.lines == 625 ? 576 : 480;
    f.fmt.pix.pixelformat = v4l2_fourcc(code[0], code[1], code[2], code[3]);
    f.fmt.pix.field = television ? V4L2_FIELD_INTERLACED : V4L2_FIELD_ANY;
    const v4l2_pix_format asked = f.fmt.pix;
    if (ask(d_.get(), VIDIOC_S_FMT, &f) < 0) fail("set its format");
    const v4l2_pix_format& got = f.fmt.pix;
    setting_.fourcc = fourcc_of(got.pixelformat);
    if (got.pixelformat != asked.pixelformat)
      throw unusable(fmt::format("{}: offers {} but sends {}", name_, code, setting_.fourcc));
    if (got.width != asked.width || got.height != asked.height)
      setting_.notes.push_back(fmt::format("the driver sends {}x{} instead of {}x{}", got.width, got.height,
                                           asked.width, asked.height));
    FrameFormat& format = setting_.format;
    format.width = static_cast<int>(got.width);
    format.height = static_cast<int>(got.height);
    if (!television) format.lines = format.height == 480 ? 525 : 625;
    format.lossy = setting_.fourcc == "MJPG";
    setting_.bytes_per_line =
        std::max<std::size_t>(got.bytesperline, 2 * static_cast<std::size_t>(got.width));
    set_field(got.field);
    set_rate(television);
  }

  void set_field(__u32 field) {
    FrameFormat& format = setting_.format;
    format.interlaced = true;
    switch (field) {
      case V4L2_FIELD_INTERLACED:  // by the standard: 525 bottom first, 625 top first
        format.top_field_first = format.lines == 625;
        break;
      case V4L2_FIELD_INTERLACED_TB:
        format.top_field_first = true;
        break;
      case V4L2_FIELD_INTERLACED_BT:
        format.top_field_first = false;
        break;
      case V4L2_FIELD_NONE:
        format.interlaced = false;
        if (format.height > 300) setting_.notes.emplace_back("the driver says that frames are progressive");
        break;
      default:
        setting_.notes.emplace_back("the driver hands out single fields; half the lines are missing");
        format.interlaced = false;
        break;
    }
  }

  void set_rate(bool television) {
    FrameFormat& format = setting_.format;
    format.frame_rate_hz = format.lines == 525 ? 30000.0 / 1001 : 25;
    v4l2_streamparm p{};
    p.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    if (ask(d_.get(), VIDIOC_G_PARM, &p) < 0) return;
    const v4l2_fract t = p.parm.capture.timeperframe;
    if (t.numerator == 0 || t.denominator == 0) return;
    const double rate = static_cast<double>(t.denominator) / t.numerator;
    // Drivers round 29.97 to 30.
    if (!television || std::abs(rate / format.frame_rate_hz - 1) > 0.01) {
      if (television)
        setting_.notes.push_back(
            fmt::format("the driver says {:.4g} frames per second; the standard's {:.4g} "
                        "count, for they come from the wire",
                        rate, format.frame_rate_hz));
      else
        format.frame_rate_hz = rate;
    }
  }

  void map_buffers() {
    v4l2_requestbuffers r{};
    r.count = 8;
    r.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    r.memory = V4L2_MEMORY_MMAP;
    if (ask(d_.get(), VIDIOC_REQBUFS, &r) < 0) fail("get buffers");
    for (__u32 i = 0; i < r.count; ++i) {
      v4l2_buffer b{};
      b.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
      b.memory = V4L2_MEMORY_MMAP;
      b.index = i;
      if (ask(d_.get(), VIDIOC_QUERYBUF, &b) < 0) fail("get buffers");
      void* at = ::mmap(nullptr, b.length, PROT_READ | PROT_WRITE, MAP_SHARED, d_.get(), b.m.offset);
      if (at == MAP_FAILED) fail("map its buffers");
      buffers_.push_back({at, b.length});
    }
    if (buffers_.size() < 2) throw unusable(fmt::format("{}: the driver has no buffers", name_));
  }

  bool queue(__u32 index) {
    v4l2_buffer b{};
    b.type = V4L2_BUF_TYPE_VIDEO_CAPTURE;
    b.memory = V4L2_MEMORY_MMAP;
    b.index = index;
    return ask(d_.get(), VIDIOC_QBUF, &b) == 0;
  }

  std::string name_;
  Descriptor d_;
  GrabberSetting setting_;
  std::vector<Mapped> buffers_;
  int input_ = 0;
  int held_ = -1;
  bool running_ = false;
};

class V4l2 final : public GrabberSystem {
 public:
  std::vector<Grabber> grabbers() override {
    std::vector<std::string> nodes;
    std::error_code ec;
    for (const auto& e : std::filesystem::directory_iterator("/dev", ec)) {
      const std::string name = e.path().filename().string();
      if (name.starts_with("video") && name.size() > 5 &&
          name.find_first_not_of("0123456789", 5) == std::string::npos)
        nodes.push_back(e.path().string());
    }
    std::sort(nodes.begin(), nodes.end(), [](const std::string& a, const std::string& b) {
      return a.size() != b.size() ? a.size() < b.size() : a < b;
    });
    std::vector<Grabber> out;
    for (const std::string& n : nodes)
      if (auto g = describe(n)) out.push_back(std::move(*g));
    return out;
  }
  std::unique_ptr<GrabberStream> open(const GrabberPlan& plan) override {
    return std::make_unique<Stream>(plan);
  }
};

}  // namespace

std::unique_ptr<GrabberSystem> open_grabber_system() { return std::make_unique<V4l2>(); }

}  // namespace linebench::capture
