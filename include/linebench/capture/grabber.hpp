// Video grabbers: what there is, and the thin layer that lies under a picture session.
#pragma once

#include <chrono>
#include <cstdint>
#include <linebench/capture/frame_source.hpp>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::capture {

/// What the driver says of the signal at an input.
enum class SignalState { Unknown, Present, None, NoLock };
/// "unknown", "present", "none", "no lock".
[[nodiscard]] std::string_view to_string(SignalState state);

struct GrabberInput {
  int index = 0;
  std::string name;      ///< as the driver calls it: "Composite", "S-Video"
  bool has_525 = false;  ///< it takes a 525-line television standard
  bool has_625 = false;
  SignalState signal = SignalState::Unknown;
};

struct Grabber {
  std::string name;  ///< as the driver calls it
  std::string path;  ///< device node; changes with the port it is plugged into
  std::string bus;   ///< where it is plugged in, e.g. "usb-0000:00:14.0-2"
  std::vector<GrabberInput> inputs;
  std::vector<std::string> formats;  ///< four-character codes it can send
  bool television = false;           ///< some input takes a television standard; a webcam has none

  /// "V4L2: USB Video Grabber". How it is kept and found again.
  [[nodiscard]] std::string identity() const { return "V4L2: " + name; }
  [[nodiscard]] bool sends(std::string_view fourcc) const;
};

/// The grabber a person means: node, identity, name or any part of the identity that fits one only; upper or
/// lower case alike; empty: the only one there is. Throws Error(Unusable) when there is none or none fits,
/// Error(Usage) for an ambiguous text, listing what fits.
[[nodiscard]] const Grabber& choose_grabber(std::span<const Grabber> grabbers, std::string_view text);

/// The input a person means: number or part of its name; empty: the first composite one with a signal, else
/// the first composite one, else the first that takes a television standard, else the first.
/// Throws Error(Usage), listing the inputs.
[[nodiscard]] const GrabberInput& choose_input(const Grabber& grabber, std::string_view text);

struct GrabberPlan {
  Grabber grabber;
  GrabberInput input;
  int lines = 0;                  ///< 525 or 625; 0: what is on the wire, else what is set
  bool allow_compressed = false;  ///< take MJPEG where there is nothing else
};

/// What an open grabber was set to, as read back after setting.
struct GrabberSetting {
  FrameFormat format;
  std::string fourcc;              ///< "YUYV", "UYVY", "MJPG"
  std::size_t bytes_per_line = 0;  ///< of packed formats; rows may be padded
  std::string standard;            ///< e.g. "PAL", "NTSC"; empty: the device has none
  std::vector<std::string> notes;  ///< what the driver changed, or would not do, one sentence each
};

/// One buffer of the driver.
struct GrabbedFrame {
  std::span<const std::uint8_t> bytes;  ///< until the next call of wait()
  std::uint32_t sequence = 0;           ///< counted by the driver; lost frames leave gaps
  bool corrupt = false;                 ///< the driver marked it as damaged
};

enum class WaitResult { Frame, Timeout, Lost };

/// An open grabber. Closes when destroyed. Used by one thread.
class GrabberStream {
 public:
  GrabberStream() = default;
  GrabberStream(const GrabberStream&) = delete;
  GrabberStream& operator=(const GrabberStream&) = delete;
  virtual ~GrabberStream() = default;
  [[nodiscard]] virtual const GrabberSetting& setting() const = 0;
  /// Throws Error(Unusable).
  virtual void start() = 0;
  /// Waits for the next buffer, no longer than `most`. Lost: the device is gone or gave up.
  virtual WaitResult wait(std::chrono::milliseconds most, GrabbedFrame& frame) = 0;
  virtual void stop() noexcept = 0;
  struct Wire {
    SignalState signal = SignalState::Unknown;
    int lines = 0;  ///< 525 or 625 as detected on the wire; 0: not known
  };
  /// What comes in at the moment.
  [[nodiscard]] virtual Wire wire() = 0;
};

/// A way to reach grabbers: V4L2, or a stand-in for tests.
class GrabberSystem {
 public:
  GrabberSystem() = default;
  GrabberSystem(const GrabberSystem&) = delete;
  GrabberSystem& operator=(const GrabberSystem&) = delete;
  virtual ~GrabberSystem() = default;
  /// Capture devices, by node. Devices that cannot be asked are left out.
  [[nodiscard]] virtual std::vector<Grabber> grabbers() = 0;
  /// Sets input, then standard, then format, and reads all back. Throws Error(Unusable) with the driver's
  /// reason, and where only compressed formats are offered unless the plan allows them.
  [[nodiscard]] virtual std::unique_ptr<GrabberStream> open(const GrabberPlan& plan) = 0;
};

[[nodiscard]] std::unique_ptr<GrabberSystem> open_grabber_system();  ///< of this machine

/// Said wherever there is no grabber at all.
inline constexpr std::string_view no_grabber =
    "no video grabber found; plug one in and see `linebench devices` (reading /dev/video* may need the group "
    "video)";

}  // namespace linebench::capture
