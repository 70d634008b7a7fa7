#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/base/text.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/audio_file.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <system_error>

#include "container.hpp"

namespace linebench::capture {
namespace {

int container_of(const std::filesystem::path& path) {
  static const std::map<std::string, int, std::less<>> kinds = {
      {".wav", SF_FORMAT_RF64},  // with the downgrade below: plain WAV up to 4 GB
      {".rf64", SF_FORMAT_RF64}, {".w64", SF_FORMAT_W64},   {".aiff", SF_FORMAT_AIFF},
      {".aif", SF_FORMAT_AIFF},  {".flac", SF_FORMAT_FLAC},
  };
  const auto kind = kinds.find(lower_case(path.extension().string()));
  if (kind == kinds.end()) {
    throw bad_usage(fmt::format("{}: the name must end in .wav, .flac, .w64, .rf64 or .aiff", path.string()));
  }
  return kind->second;
}

int coding_of(SampleFormat format) {
  switch (format) {
    case SampleFormat::Pcm16:
      return SF_FORMAT_PCM_16;
    case SampleFormat::Pcm24:
      return SF_FORMAT_PCM_24;
    case SampleFormat::Pcm32:
      return SF_FORMAT_PCM_32;
    case SampleFormat::Float32:
      return SF_FORMAT_FLOAT;
    case SampleFormat::Float64:
      return SF_FORMAT_DOUBLE;
  }
  return SF_FORMAT_PCM_24;
}

int bits_of(SampleFormat format) {
  switch (format) {
    case SampleFormat::Pcm16:
      return 16;
    case SampleFormat::Pcm24:
      return 24;
    case SampleFormat::Pcm32:
      return 32;
    default:
      return 0;
  }
}

/// libsndfile's own conversion scales by 2^(n-1) - 1 on the way out and 2^-(n-1) on the way in, which is not
/// bit-exact; this one is, and rounds.
int to_left_aligned(float x, int bits) {
  const double full = std::ldexp(1.0, bits - 1);
  const double v = std::clamp(std::nearbyint(static_cast<double>(x) * full), -full, full - 1.0);
  return static_cast<int>(static_cast<std::int64_t>(v) * (std::int64_t{1} << (32 - bits)));
}

}  // namespace

struct AudioFileWriter::Handle {
  SNDFILE* file = nullptr;
  int format = 0;
};

SampleFormat pcm_format(int bits) {
  switch (bits) {
    case 16:
      return SampleFormat::Pcm16;
    case 24:
      return SampleFormat::Pcm24;
    case 32:
      return SampleFormat::Pcm32;
    default:
      throw bad_usage(fmt::format("{} bits a sample: choose 16, 24 or 32", bits));
  }
}

AudioFileWriter::AudioFileWriter(std::filesystem::path path, double sample_rate_hz, int channels,
                                 SampleFormat format)
    : path_(std::move(path)),
      handle_(std::make_unique<Handle>()),
      rate_hz_(sample_rate_hz),
      channels_(channels),
      format_(format) {
  const int container = container_of(path_);
  handle_->format = container | coding_of(format);
  SF_INFO info{};
  info.samplerate = static_cast<int>(std::lround(sample_rate_hz));
  info.channels = channels;
  info.format = handle_->format;
  if (sf_format_check(&info) == 0) {
    throw bad_usage(fmt::format("{}: {} with {} channels at {} Hz cannot be stored in such a file; use .wav",
                                path_.string(), format_words(), channels, sample_rate_hz));
  }
  const int fd = open_as_only_writer(path_);
  std::error_code ec;
  std::filesystem::remove(facts_path(path_), ec);  // it spoke of the file that is being replaced
  handle_->file = sf_open_fd(fd, SFM_WRITE, &info, SF_TRUE);
  if (handle_->file == nullptr) {
    if (std::filesystem::is_regular_file(path_, ec)) std::filesystem::remove(path_, ec);
    throw unusable(fmt::format("{}: cannot be written ({}); check the folder and your rights in it",
                               path_.string(), sf_strerror(nullptr)));
  }
  if (container == SF_FORMAT_RF64 && path_.extension() != ".rf64") {
    sf_command(handle_->file, SFC_RF64_AUTO_DOWNGRADE, nullptr, SF_TRUE);
  }
}

AudioFileWriter::~AudioFileWriter() { close(); }

std::string AudioFileWriter::format_words() const {
  int format = handle_->format;
  if ((format & SF_FORMAT_TYPEMASK) == SF_FORMAT_RF64 && path_.extension() != ".rf64") {
    format = SF_FORMAT_WAV | (format & SF_FORMAT_SUBMASK);
  }
  return format_in_words(format);
}

void AudioFileWriter::write(std::span<const float> interleaved) {
  const auto want = static_cast<sf_count_t>(interleaved.size() / static_cast<std::size_t>(channels_));
  const int bits = bits_of(format_);
  sf_count_t stored = 0;
  errno = 0;
  if (bits != 0) {
    scratch_.resize(interleaved.size());
    std::transform(interleaved.begin(), interleaved.end(), scratch_.begin(),
                   [bits](float x) { return to_left_aligned(x, bits); });
    stored = sf_writef_int(handle_->file, scratch_.data(), want);
  } else {
    stored = sf_writef_float(handle_->file, interleaved.data(), want);
  }
  const int code = errno;
  frames_ += static_cast<std::uint64_t>(std::max<sf_count_t>(stored, 0));
  if (stored < want) {
    const bool full = code == ENOSPC || code == EDQUOT || code == EFBIG;
    throw unusable(fmt::format(
        "{}: {} after {:.1f} s; {}", path_.string(),
        full ? "the disk is full" : std::string("cannot be written (") + sf_strerror(handle_->file) + ")",
        static_cast<double>(frames_) / rate_hz_,
        full ? "free some space or use another disk" : "check the disk"));
  }
  constexpr double header_every_s = 0.05;  // finer than what a person is shown
  if (static_cast<double>(frames_ - header_at_) >= header_every_s * rate_hz_) {
    sf_command(handle_->file, SFC_UPDATE_HEADER_NOW, nullptr, 0);
    header_at_ = frames_;
  }
}

void AudioFileWriter::close() noexcept {
  if (handle_->file != nullptr) sf_close(handle_->file);
  handle_->file = nullptr;
}

void AudioFileWriter::fill(CaptureFacts& facts) const {
  facts.source = path_.filename().string();
  facts.kind = "audio file";
  facts.format = format_words();
  facts.sample_rate_hz = rate_hz_;
  facts.channels = channels_;
  facts.frames = frames_;
}

void AudioFileWriter::begin(CaptureFacts facts) {
  fill(facts);
  facts.interrupted = true;
  facts.notes.emplace_back(unfinished_note);
  try {
    store_text(facts_path(path_), json_text(facts_to_json(facts), 2) + "\n");
  } catch (...) {
    discard();
    throw;
  }
}

void AudioFileWriter::discard() noexcept {
  close();
  std::error_code ec;
  std::filesystem::remove(path_, ec);
  std::filesystem::remove(facts_path(path_), ec);
}

CaptureFacts AudioFileWriter::finish(CaptureFacts facts) {
  close();
  fill(facts);
  store_text(facts_path(path_), json_text(facts_to_json(facts), 2) + "\n");
  return facts;
}

}  // namespace linebench::capture
