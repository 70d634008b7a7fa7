#include <fmt/format.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/picture_session.hpp>
#include <nlohmann/json.hpp>

namespace linebench::capture {

struct YuvFileSink::Handle {
  std::FILE* file = nullptr;
};

namespace {

nlohmann::json sidecar(const GrabberSetting& s, const CaptureFacts& facts) {
  nlohmann::json j = facts_to_json(facts);
  const FrameFormat& f = s.format;
  j["width"] = f.width;
  j["height"] = f.height;
  j["format"] = "yuyv";
  j["standard"] = std::to_string(f.lines);
  j["frame_rate"] = f.frame_rate_hz;
  if (f.top_field_first) j["field_order"] = *f.top_field_first ? "top" : "bottom";
  if (!f.interlaced) j["field_order"] = "none";
  if (f.lossy) j["lossy"] = true;
  if (f.lossy) j["through_rgb"] = true;
  return j;
}

std::filesystem::path sidecar_path(std::filesystem::path p) { return p.replace_extension(".json"); }

}  // namespace

YuvFileSink::YuvFileSink(std::filesystem::path path, const GrabberSetting& setting)
    : path_(std::move(path)), setting_(setting), file_(std::make_unique<Handle>()) {
  if (path_.extension() != ".yuv")
    throw bad_usage(
        fmt::format("--out {}: frames are kept as raw .yuv with a sidecar; give a name that ends in .yuv",
                    path_.string()));
  const int fd = open_as_only_writer(path_);
  file_->file = ::fdopen(fd, "wb");
  // Whole frames are written: nothing is to wait in a buffer that a crash would take along.
  (void)std::setvbuf(file_->file, nullptr, _IONBF, 0);
  CaptureFacts facts;
  facts.interrupted = true;
  facts.notes.emplace_back(unfinished_note);
  try {
    store_text(sidecar_path(path_), json_text(sidecar(setting_, facts), 2) + "\n");
  } catch (...) {
    (void)std::fclose(file_->file);
    std::error_code ec;
    std::filesystem::remove(path_, ec);
    throw;
  }
}

YuvFileSink::~YuvFileSink() {
  if (file_->file != nullptr) (void)std::fclose(file_->file);
}

void YuvFileSink::write(std::span<const std::uint8_t> yuyv, const FrameMark&) {
  if (std::fwrite(yuyv.data(), 1, yuyv.size(), file_->file) != yuyv.size())
    throw unusable(fmt::format("{}: cannot be written: {}; make room on the disk", path_.string(),
                               std::strerror(errno)));
}

CaptureFacts YuvFileSink::finish(const PictureOutcome& outcome) {
  CaptureFacts facts = outcome.facts;
  facts.source = path_.filename().string();
  const bool closed = std::fclose(std::exchange(file_->file, nullptr)) == 0;
  nlohmann::json j = sidecar(setting_, facts);
  if (!outcome.lost.empty()) {
    j["lost"] = nlohmann::json::array();
    for (const auto& [frame, count] : outcome.lost) j["lost"].push_back({frame, count});
  }
  if (!outcome.corrupt.empty()) j["corrupt"] = outcome.corrupt;
  store_text(sidecar_path(path_), json_text(j, 2) + "\n");
  if (!closed)
    throw unusable(fmt::format("{}: the last of it could not be written: {}; make room on the disk",
                               path_.string(), std::strerror(errno)));
  facts.format = fmt::format("raw YUYV, {}x{}, {} lines", setting_.format.width, setting_.format.height,
                             setting_.format.lines);
  return facts;
}

}  // namespace linebench::capture
