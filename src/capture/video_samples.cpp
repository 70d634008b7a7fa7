#include <fmt/format.h>
#include <sndfile.h>

#include <linebench/base/error.hpp>
#include <linebench/base/text.hpp>
#include <linebench/capture/video_samples.hpp>

#include "video_readers.hpp"

namespace linebench::capture {
namespace {

std::string ending_of(const std::filesystem::path& file) { return lower_case(file.extension().string()); }
bool is_csv(const std::string& e) { return e == ".csv" || e == ".txt" || e == ".tsv"; }
bool is_raw(const std::string& e) {
  return e == ".raw" || e == ".bin" || e == ".s16" || e == ".u8" || e == ".f32";
}

}  // namespace

std::unique_ptr<VideoSource> open_video_samples(const std::filesystem::path& file,
                                                const VideoFileOptions& options) {
  std::error_code none;
  if (!std::filesystem::exists(file, none))
    throw unusable(fmt::format("{}: not there; check the name", file.string()));
  if (!std::filesystem::is_regular_file(file, none))
    throw unusable(fmt::format("{}: not a file of samples", file.string()));
  const std::string e = ending_of(file);
  if (options.full_scale_v && (is_csv(e) || is_raw(e))) {
    throw unusable(fmt::format("{}: volts are given by {}; a full scale is for WAV files only: leave it out",
                               file.filename().string(), is_raw(e) ? "its sidecar" : "its second column"));
  }
  if (is_csv(e)) return open_csv_video(file);
  if (is_raw(e)) return open_raw_video(file);
  return open_wav_video(file, options);
}

bool looks_like_video_samples(const std::filesystem::path& file) {
  const std::string e = ending_of(file);
  if (is_csv(e) || is_raw(e)) return true;
  constexpr int audio_ends = 1'000'000;
  SF_INFO info{};
  SNDFILE* f = sf_open(file.c_str(), SFM_READ, &info);
  if (f == nullptr) return false;
  (void)sf_close(f);
  return info.samplerate > audio_ends;
}

}  // namespace linebench::capture
