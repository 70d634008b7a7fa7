#include <fmt/format.h>
#include <sndfile.h>

#include <cmath>
#include <linebench/base/error.hpp>

#include "video_readers.hpp"

namespace linebench::capture {
namespace {

struct Close {
  void operator()(SNDFILE* f) const { (void)sf_close(f); }
};

class WavVideo : public VideoSource {
 public:
  WavVideo(const std::filesystem::path& file, const VideoFileOptions& options) {
    SF_INFO info{};
    file_.reset(sf_open(file.c_str(), SFM_READ, &info));
    const std::string name = file.filename().string();
    if (!file_)
      throw unusable(fmt::format("{}: cannot be read as samples ({})", file.string(), sf_strerror(nullptr)));
    if (info.channels != 1) {
      throw unusable(
          fmt::format("{}: {} channels; composite video is one: save the channel it is on by itself", name,
                      info.channels));
    }
    if (info.frames == 0)
      throw unusable(fmt::format("{}: there are no samples in it; take the capture again", name));
    const auto sidecar = read_video_sidecar(file);
    double rate = info.samplerate;
    if (sidecar) {
      facts_ = sidecar->facts;
      // A WAV header holds whole samples per second only; the sidecar may know the exact rate.
      if (sidecar->sample_rate_hz) {
        const double said = *sidecar->sample_rate_hz;
        if (std::abs(said - rate) > 1.0) {
          throw unusable(fmt::format("{}: {:.0f} samples per second, but {} says {:g}; correct one of them",
                                     name, rate, sidecar->path, said));
        }
        rate = said;
      }
    }
    check_video_rate(name, rate, "in its header");
    double full_scale = 0;
    if (options.full_scale_v) {
      full_scale = *options.full_scale_v;
    } else if (sidecar && sidecar->scale) {
      full_scale = *sidecar->scale;
    } else if (facts_.full_scale_v) {
      full_scale = *facts_.full_scale_v;
    }
    if (!(full_scale > 0)) {
      throw unusable(fmt::format(
          "{}: volts at full scale are not known; give --full-scale VOLTS (a sample value of 1.0)", name));
    }
    const double offset = sidecar && sidecar->offset ? *sidecar->offset : 0.0;
    check_volts(name, full_scale, offset, 1);
    scale_ = static_cast<float>(full_scale);
    offset_ = static_cast<float>(offset);
    integer_ = (info.format & SF_FORMAT_SUBMASK) != SF_FORMAT_FLOAT &&
               (info.format & SF_FORMAT_SUBMASK) != SF_FORMAT_DOUBLE;
    facts_.source = name;
    facts_.kind = "composite samples";
    SF_FORMAT_INFO words{};
    words.format = info.format & SF_FORMAT_SUBMASK;
    facts_.format =
        sf_command(nullptr, SFC_GET_FORMAT_INFO, &words, sizeof words) == 0 && words.name != nullptr
            ? words.name
            : "";
    facts_.sample_rate_hz = rate;
    facts_.channels = 1;
    facts_.frames = static_cast<std::uint64_t>(info.frames);
    facts_.full_scale_v = full_scale;
  }

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }

  std::size_t read(std::span<float> volts) override {
    const sf_count_t n = sf_readf_float(file_.get(), volts.data(), static_cast<sf_count_t>(volts.size()));
    if (n <= 0) return 0;
    const auto count = static_cast<std::size_t>(n);
    for (std::size_t i = 0; i < count; ++i) {
      volts[i] = offset_ + scale_ * volts[i];
      if (!integer_ && !std::isfinite(volts[i])) {
        throw unusable(
            fmt::format("{}: sample {} ({:.6f} s) is not a number; take the capture again or cut it out",
                        facts_.source, at_ + i, static_cast<double>(at_ + i) / facts_.sample_rate_hz));
      }
    }
    at_ += count;
    return count;
  }

  [[nodiscard]] std::optional<Rails> rails() const override {
    if (!integer_) return std::nullopt;
    const float nearly = 0.99996F;  // one step below full scale in 16 bit
    return Rails{offset_ - nearly * scale_, offset_ + nearly * scale_};
  }

 private:
  std::unique_ptr<SNDFILE, Close> file_;
  float scale_ = 1;
  float offset_ = 0;
  bool integer_ = true;
  CaptureFacts facts_;
  std::uint64_t at_ = 0;
};

}  // namespace

std::unique_ptr<VideoSource> open_wav_video(const std::filesystem::path& file,
                                            const VideoFileOptions& options) {
  return std::make_unique<WavVideo>(file, options);
}

}  // namespace linebench::capture
