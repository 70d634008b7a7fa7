#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <linebench/base/error.hpp>
#include <linebench/base/quiet_stderr.hpp>
#include <linebench/base/text.hpp>
#include <linebench/signals/picture_module.hpp>

#include "frame_readers.hpp"

namespace linebench::capture {
namespace {

namespace fs = std::filesystem;

bool is_png(const fs::path& p) { return lower_case(p.extension().string()) == ".png"; }

// "shot-0012" -> "shot-", 12, 4 digits.
struct Numbered {
  std::string stem;
  std::uint64_t number = 0;
  std::size_t digits = 0;
};
Numbered split_number(const fs::path& file) {
  const std::string name = file.stem().string();
  std::size_t at = name.size();
  while (at > 0 && std::isdigit(static_cast<unsigned char>(name[at - 1])) != 0 && name.size() - at < 9) --at;
  Numbered n{name.substr(0, at), 0, name.size() - at};
  if (n.digits > 0) n.number = std::stoull(name.substr(at));
  return n;
}

// The stills in order of their number, with it.
std::vector<std::pair<std::uint64_t, fs::path>> list(const fs::path& from) {
  std::vector<std::pair<std::uint64_t, fs::path>> files;
  const bool folder = fs::is_directory(from);
  const Numbered first = folder ? Numbered{} : split_number(from);
  if (!folder && first.digits == 0) return {{0, from}};
  const fs::path where = folder ? from : from.has_parent_path() ? from.parent_path() : fs::path(".");
  std::error_code ec;
  for (const auto& e : fs::directory_iterator(where, ec)) {
    if (!is_png(e.path())) continue;
    const Numbered n = split_number(e.path());
    if (!folder && (n.stem != first.stem || n.digits == 0 || n.number < first.number)) continue;
    files.emplace_back(n.number, e.path());
  }
  std::sort(files.begin(), files.end());
  return files;
}

Error not_readable(const fs::path& file) {
  return unusable(fmt::format(
      "{}: damaged, or no PNG that can be read; export or copy it again, or take the picture in with "
      "'capture picture'",
      file.string()));
}

class Stills final : public FrameSource {
 public:
  explicit Stills(const fs::path& from) : files_(list(from)) {
    if (files_.empty()) throw unusable(fmt::format("{}: there are no PNG stills in it", from.string()));
    if (!load(0)) throw not_readable(from);
    format_.width = still_.width;
    format_.height = still_.height;
    check_frame_size(files_[0].second.filename().string(), format_.width, format_.height);
    guess_system(format_, 0);
    format_.through_rgb = true;
    facts_.source = from.filename().string();
    if (facts_.source.empty()) facts_.source = from.parent_path().filename().string();
    facts_.kind = "frames";
    facts_.format = fmt::format("PNG, {}x{}, {} still{}", format_.width, format_.height, files_.size(),
                                files_.size() == 1 ? "" : "s");
    facts_.sample_rate_hz = format_.frame_rate_hz;
    facts_.frames = files_.size();
    facts_.notes.push_back(fmt::format(
        "stills are RGB: codes below 16 and above 235 were lost when they were made; taken as {} lines, "
        "{:.4g} frames per second in a row",
        format_.lines, format_.frame_rate_hz));
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] const FrameFormat& format() const override { return format_; }

  bool read(Frame& frame) override {
    if (at_ >= files_.size()) return false;
    if (at_ > 0 && !load(at_)) throw not_readable(files_[at_].second);
    if (still_.width != format_.width || still_.height != format_.height) {
      throw unusable(fmt::format("{}: {}x{} where the others are {}x{}; put stills of one size together",
                                 files_[at_].second.string(), still_.width, still_.height, format_.width,
                                 format_.height));
    }
    from_bgr(still_.bgr, format_.width, format_.height, frame);
    frame.number = files_[at_].first - files_[0].first;
    frame.corrupt = false;
    ++at_;
    return true;
  }

 private:
  bool load(std::size_t i) {
    return signals::with_picture_module(
        fmt::format("{} cannot be read", files_[i].second.string()), [&](signals::PictureModule& m) {
          const QuietStderr quiet;  // libpng says by itself what is wrong with a file
          return m.read_still(files_[i].second.string(), still_);
        });
  }

  std::vector<std::pair<std::uint64_t, fs::path>> files_;
  signals::BgrImage still_;
  FrameFormat format_;
  CaptureFacts facts_;
  std::size_t at_ = 0;
};

}  // namespace

std::unique_ptr<FrameSource> open_stills(const fs::path& from) { return std::make_unique<Stills>(from); }

}  // namespace linebench::capture
