#include <fmt/format.h>

#include <cmath>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/base/json_whole.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "frame_readers.hpp"
#include "video_readers.hpp"

namespace linebench::capture {
namespace {

using nlohmann::json;

struct Sidecar {
  FrameFormat format;
  CaptureFacts facts;
  std::map<std::uint64_t, std::uint64_t> lost;  // frames lost before this frame of the file
  std::set<std::uint64_t> corrupt;
};

class SidecarReader {
 public:
  explicit SidecarReader(const std::filesystem::path& samples)
      : path_(video_sidecar_path(samples)), name_(path_.filename().string()) {
    std::ifstream in(path_);
    if (!in) {
      throw unusable(
          fmt::format("{}: its sidecar {} is missing; write one that gives width, height, format, standard "
                      "and frame_rate",
                      samples.string(), name_));
    }
    j_ = json::parse(in, nullptr, false);
    if (!j_.is_object()) throw unusable(fmt::format("{}: not a JSON object", path_.string()));
  }

  Sidecar read() {
    Sidecar s;
    s.format.width = whole("width");
    s.format.height = whole("height");
    check_frame_size(name_, s.format.width, s.format.height);
    if (const std::string f = text("format", "yuyv"); f != "yuyv")
      throw unusable(fmt::format("{}: format \"{}\" is not known; use yuyv", name_, f));
    guess_system(s.format, number("frame_rate"));
    if (const std::string standard = text("standard", ""); !standard.empty()) {
      if (!standard.starts_with("625") && !standard.starts_with("525"))
        throw unusable(fmt::format("{}: standard \"{}\" is not known; use 625 or 525", name_, standard));
      const int lines = standard.starts_with("625") ? 625 : 525;
      if (!j_.contains("frame_rate")) s.format.frame_rate_hz = lines == 625 ? 25.0 : 30000.0 / 1001;
      s.format.lines = lines;
      s.format.lines_known = true;
    }
    const std::string order = text("field_order", "");
    if (order == "top" || order == "bottom")
      s.format.top_field_first = order == "top";
    else if (order == "none" || order == "progressive")
      s.format.interlaced = false;
    else if (!order.empty())
      throw unusable(fmt::format("{}: field_order \"{}\" is not known; use top or bottom", name_, order));
    check_standard(s.format);
    s.format.lossy = flag("lossy");
    s.format.through_rgb = flag("through_rgb");
    s.facts = facts_from_json(j_);
    s.format.counted = j_.contains("dropped") || j_.contains("lost");
    if (j_.contains("lost") && j_["lost"].is_array()) {
      for (const json& pair : j_["lost"]) {
        if (pair.is_array() && pair.size() == 2 && pair[0].is_number_unsigned() &&
            pair[1].is_number_unsigned())
          s.lost[pair[0].get<std::uint64_t>()] += pair[1].get<std::uint64_t>();
      }
    }
    if (j_.contains("corrupt") && j_["corrupt"].is_array()) {
      for (const json& n : j_["corrupt"]) {
        if (n.is_number_unsigned()) s.corrupt.insert(n.get<std::uint64_t>());
      }
    }
    return s;
  }

 private:
  // A rate or a height that belongs to the other standard would put hum at a wrong frequency without a word.
  void check_standard(const FrameFormat& f) {
    if (!f.interlaced) return;
    const bool is_625 = f.lines == 625;
    const double other_rate = is_625 ? 30000.0 / 1001 : 25.0;
    const bool other_height = is_625 ? f.height == 480 || f.height == 486 : f.height == 576;
    if (std::abs(f.frame_rate_hz / other_rate - 1) > 0.01 && !other_height) return;
    throw unusable(
        fmt::format("{}: {} lines, {} rows and {:.4g} frames per second do not belong together; correct "
                    "standard, height or frame_rate",
                    name_, f.lines, f.height, f.frame_rate_hz));
  }
  int whole(const char* key) {
    if (!j_.contains(key) || !j_[key].is_number_integer())
      throw unusable(fmt::format("{}: \"{}\" is missing or no whole number; give it in pixels", name_, key));
    return static_cast<int>(whole_from_json(j_[key], 0, 100000).value_or(0));
  }
  bool flag(const char* key) {
    if (!j_.contains(key) || j_[key].is_null()) return false;
    if (!j_[key].is_boolean()) throw unusable(fmt::format("{}: \"{}\" must be true or false", name_, key));
    return j_[key].get<bool>();
  }
  double number(const char* key) {
    if (!j_.contains(key) || j_[key].is_null()) return 0;
    if (!j_[key].is_number()) throw unusable(fmt::format("{}: \"{}\" must be a number", name_, key));
    const double v = j_[key].get<double>();
    if (!(v > 1 && v < 1000))
      throw unusable(fmt::format("{}: {} frames per second cannot be right; give 25 or 29.97", name_, v));
    return v;
  }
  std::string text(const char* key, const char* otherwise) {
    if (!j_.contains(key) || j_[key].is_null()) return otherwise;
    if (const auto number = whole_from_json(j_[key], 0, 10000)) return std::to_string(*number);
    if (!j_[key].is_string()) throw unusable(fmt::format("{}: \"{}\" must be a text in quotes", name_, key));
    return j_[key].get<std::string>();
  }

  std::filesystem::path path_;
  std::string name_;
  json j_;
};

class YuvFile final : public FrameSource {
 public:
  explicit YuvFile(const std::filesystem::path& file)
      : sidecar_(SidecarReader(file).read()), in_(file, std::ios::binary) {
    if (!in_) throw unusable(fmt::format("{}: cannot be opened; check that it is readable", file.string()));
    FrameFormat& f = sidecar_.format;
    const std::size_t frame = 2 * static_cast<std::size_t>(f.width) * static_cast<std::size_t>(f.height);
    const auto size = std::filesystem::file_size(file);
    CaptureFacts& facts = sidecar_.facts;
    facts.source = file.filename().string();
    facts.kind = "frames";
    facts.format = fmt::format("raw YUYV, {}x{}, {} lines", f.width, f.height, f.lines);
    facts.sample_rate_hz = f.frame_rate_hz;
    facts.channels = 0;
    facts.frames = size / frame;
    if (facts.frames == 0) {
      throw unusable(
          fmt::format("{}: {} bytes do not hold one {}x{} frame; the sidecar belongs to another "
                      "file, or the capture was cut off",
                      facts.source, size, f.width, f.height));
    }
    buffer_.resize(frame);
    if (size % frame != 0) {
      facts.interrupted = true;
      facts.notes.push_back("the file ends inside a frame; what is whole was read");
    }
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return sidecar_.facts; }
  [[nodiscard]] const FrameFormat& format() const override { return sidecar_.format; }

  bool read(Frame& frame) override {
    in_.read(reinterpret_cast<char*>(buffer_.data()), static_cast<std::streamsize>(buffer_.size()));
    if (static_cast<std::size_t>(in_.gcount()) != buffer_.size()) {
      if (in_.bad()) throw unusable(fmt::format("{}: frame {} cannot be read", sidecar_.facts.source, at_));
      return false;
    }
    unpack_yuyv(buffer_, sidecar_.format.width, sidecar_.format.height, frame);
    if (const auto lost = sidecar_.lost.find(at_); lost != sidecar_.lost.end()) lost_ += lost->second;
    frame.number = at_ + lost_;
    frame.corrupt = sidecar_.corrupt.contains(at_);
    ++at_;
    return true;
  }

 private:
  Sidecar sidecar_;
  std::ifstream in_;
  std::vector<std::uint8_t> buffer_;
  std::uint64_t at_ = 0;
  std::uint64_t lost_ = 0;
};

}  // namespace

std::unique_ptr<FrameSource> open_yuv(const std::filesystem::path& file) {
  return std::make_unique<YuvFile>(file);
}

}  // namespace linebench::capture
