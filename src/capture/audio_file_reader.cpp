#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/audio_file.hpp>
#include <nlohmann/json.hpp>
#include <system_error>

#include "container.hpp"

namespace linebench::capture {
namespace {

namespace fs = std::filesystem;

struct Closer {
  void operator()(SNDFILE* f) const noexcept { sf_close(f); }
};
using File = std::unique_ptr<SNDFILE, Closer>;

/// No converter or mixer gives a sample this far beyond full scale (1.0): +60 dB, our own choice. Such a file
/// was written with another scale (whole numbers as floats) or is damaged, and every level from it would be
/// wrong.
constexpr float most = 1000.0F;

/// NaN compares false. Blocks of fixed size so that the compiler can use the whole width of the machine; the
/// slow search runs only when something was found.
bool usable(float v) { return std::abs(v) <= most; }
bool all_usable(std::span<const float> x) {
  constexpr std::size_t block = 16;
  std::size_t i = 0;
  for (; i + block <= x.size(); i += block) {
    unsigned good = 0;
    for (std::size_t k = 0; k < block; ++k) good += usable(x[i + k]) ? 1U : 0U;
    if (good != block) return false;
  }
  return std::all_of(x.begin() + static_cast<std::ptrdiff_t>(i), x.end(), usable);
}

std::string channel_words(std::size_t channel, int channels) {
  if (channels == 1) return "";
  if (channels == 2) return channel == 0 ? ", left" : ", right";
  return fmt::format(", channel {}", channel + 1);
}

class FileSource final : public AudioSource {
 public:
  FileSource(fs::path path, File file, const SF_INFO& info, CaptureFacts facts)
      : path_(std::move(path)),
        file_(std::move(file)),
        facts_(std::move(facts)),
        check_(is_float(info.format)),
        promised_(info.frames > 0 && info.frames < SF_COUNT_MAX ? static_cast<std::uint64_t>(info.frames)
                                                                : 0) {}

  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }

  std::size_t read(std::span<float> interleaved) override {
    const auto channels = static_cast<std::size_t>(facts_.channels);
    const auto want = static_cast<sf_count_t>(interleaved.size() / channels);
    if (want == 0)
      throw unusable(
          fmt::format("{}: asked for less than one frame of {} channels", path_.string(), channels));
    const sf_count_t got = sf_readf_float(file_.get(), interleaved.data(), want);
    const auto n = static_cast<std::size_t>(std::max<sf_count_t>(got, 0));
    if (check_) refuse_unusable(interleaved.first(n * channels));
    at_ += n;
    if (n == 0) at_end();
    return n;
  }

 private:
  void refuse_unusable(std::span<const float> x) const {
    if (all_usable(x)) return;
    const auto bad = std::find_if_not(x.begin(), x.end(), usable);
    const auto index = static_cast<std::size_t>(bad - x.begin());
    const auto channels = static_cast<std::size_t>(facts_.channels);
    const double time = static_cast<double>(at_ + index / channels) / facts_.sample_rate_hz;
    const std::string where =
        fmt::format("at {:.6f} s{}", time, channel_words(index % channels, facts_.channels));
    if (std::isfinite(*bad)) {
      throw unusable(fmt::format(
          "{}: a sample of {:.6g} {}, where full scale is 1; the file is damaged or was written with another "
          "scale: write it with full scale at 1.0",
          path_.string(), *bad, where));
    }
    throw unusable(fmt::format("{}: {} sample {}; record it again or repair the program that wrote it",
                               path_.string(), std::isnan(*bad) ? "not-a-number" : "infinite", where));
  }
  /// The end may come before the header said: only decoding shows that of a compressed file.
  void at_end() {
    if (facts_.frames != at_) {
      if (at_ == 0)
        throw unusable(fmt::format("{}: no samples could be read from it; record it again", path_.string()));
      if (promised_ > at_) {
        facts_.interrupted = true;
        facts_.notes.push_back(
            fmt::format("The file ends early: its header promises {:.3f} s, {:.3f} s are there.",
                        static_cast<double>(promised_) / facts_.sample_rate_hz,
                        static_cast<double>(at_) / facts_.sample_rate_hz));
      }
      facts_.frames = at_;
    }
  }

  fs::path path_;
  File file_;
  CaptureFacts facts_;
  bool check_;
  std::uint64_t promised_;
  std::uint64_t at_ = 0;
};

/// Why libsndfile would not have it, in a person's words.
std::string refusal(const fs::path& path) {
  std::string why = sf_strerror(nullptr);
  while (!why.empty() && (why.back() == '.' || why.back() == '\n')) why.pop_back();
  if (sf_error(nullptr) == SF_ERR_SYSTEM)
    return fmt::format("{}: cannot be opened ({}); check that you may read it", path.string(), why);
  return fmt::format("{}: is not an audio file that can be read ({}); WAV, RF64, W64, AIFF and FLAC can",
                     path.string(), why);
}

/// What only the sidecar knows goes into the facts; what the file itself says stays.
void add_sidecar(const fs::path& audio, CaptureFacts& facts) {
  const fs::path path = facts_path(audio);
  std::error_code ec;
  if (!fs::is_regular_file(path, ec)) return;
  const std::string text = load_text(path);
  const nlohmann::json j = nlohmann::json::parse(text, nullptr, false);
  if (j.is_discarded()) {
    throw unusable(fmt::format("{}: the facts of the capture are not valid JSON; correct or delete that file",
                               path.string()));
  }
  CaptureFacts side = facts_from_json(j);
  const bool same = (side.sample_rate_hz <= 0 || side.sample_rate_hz == facts.sample_rate_hz) &&
                    (side.channels == 0 || side.channels == facts.channels) &&
                    (side.source.empty() || fs::path(side.source).extension() == audio.extension()) &&
                    (side.frames == 0 || side.frames >= facts.frames);
  if (!same) {
    facts.notes.push_back(fmt::format("The facts in {} belong to another capture and were left alone.",
                                      path.filename().string()));
    return;
  }
  facts.device = std::move(side.device);
  facts.clock_error_ppm = side.clock_error_ppm;
  facts.calibration = std::move(side.calibration);
  facts.full_scale_v = side.full_scale_v;
  facts.xruns = side.xruns;
  facts.dropped = side.dropped;
  facts.interrupted = side.interrupted;
  facts.taken_at = std::move(side.taken_at);
  facts.signal = std::move(side.signal);
  facts.notes.insert(facts.notes.begin(), side.notes.begin(), side.notes.end());
}

}  // namespace

fs::path facts_path(const fs::path& audio_path) {
  fs::path p = audio_path;
  return p.replace_extension(".facts.json");
}

void refuse_unreadable_path(const fs::path& path) {
  std::error_code ec;
  const fs::file_status status = fs::status(path, ec);
  const std::string name = path.string();
  if (!fs::exists(status)) throw unusable(fmt::format("{}: no such file; check the name", name));
  if (fs::is_directory(status)) throw unusable(fmt::format("{}: is a folder; name a file in it", name));
  if (!fs::is_regular_file(status))
    throw unusable(fmt::format("{}: is not a file but a device or pipe; name a file", name));
  if (fs::file_size(path, ec) == 0 && !ec) throw unusable(fmt::format("{}: is empty; record it again", name));
}

std::unique_ptr<AudioSource> open_audio_file(const fs::path& path) {
  refuse_unreadable_path(path);
  SF_INFO info{};
  File file(sf_open(path.c_str(), SFM_READ, &info));
  if (!file) throw unusable(refusal(path));
  if (info.channels < 1) throw unusable(fmt::format("{}: has no channels; record it again", path.string()));
  if (info.samplerate < lowest_rate_hz || info.samplerate > highest_rate_hz) {
    throw unusable(fmt::format("{}: sample rate {} Hz; rates from {} to {} Hz can be measured", path.string(),
                               info.samplerate, lowest_rate_hz, highest_rate_hz));
  }
  CaptureFacts facts;
  facts.source = path.filename().string();
  facts.kind = "audio file";
  facts.format = format_in_words(info.format);
  facts.sample_rate_hz = info.samplerate;
  facts.channels = info.channels;
  facts.frames =
      info.frames < SF_COUNT_MAX ? static_cast<std::uint64_t>(std::max<sf_count_t>(info.frames, 0)) : 0;
  const bool length_unknown = info.frames <= 0 || info.frames == SF_COUNT_MAX;
  const bool compressed = (info.format & SF_FORMAT_TYPEMASK) == SF_FORMAT_FLAC;
  if (length_unknown && !compressed) {
    throw unusable(fmt::format("{}: has a header but no samples; record it again", path.string()));
  }
  add_sidecar(path, facts);
  if (const auto extent = sample_data_extent(path); extent && extent->promised > extent->available) {
    const double there = facts.duration_s();
    const double promised = there * static_cast<double>(extent->promised) /
                            static_cast<double>(std::max<std::uint64_t>(extent->available, 1));
    facts.interrupted = true;
    facts.notes.push_back(fmt::format(
        "The file ends early: its header promises {:.3f} s, {:.3f} s are there.", promised, there));
  }
  if (is_lossy(info.format)) {
    facts.notes.push_back(
        "The file's coding loses detail: noise, hum and distortion readings are those of the coding too.");
  }
  return std::make_unique<FileSource>(path, std::move(file), info, std::move(facts));
}

}  // namespace linebench::capture
