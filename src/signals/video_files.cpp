#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <fstream>
#include <linebench/base/draft.hpp>
#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/signals/video_files.hpp>
#include <linebench/signals/video_frame.hpp>
#include <memory>
#include <nlohmann/json.hpp>
#include <vector>

namespace linebench::signals {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// 50 uV a count: the signal with full colour (-0.3 to +0.95 V) and half as much again.
constexpr double full_scale_16_v = 1.6384;
// 8 bit: 7.5 mV a count, blanking at count 128: -0.96 to +0.95 V.
constexpr double volts_per_count_8 = 0.0075;
constexpr int blanking_count_8 = 128;
constexpr std::size_t block_samples = 1U << 16;

// Puts the finished file and the facts beside it in place.
void keep_with_facts(const Draft& file, const json& facts) {
  fs::path name = file.target();
  const Draft beside(name.replace_extension(".json"));
  std::ofstream out(beside.path());
  out << json_text(facts, 2) << '\n';
  out.close();
  if (!out) throw cannot_write(beside.target(), "disk full or folder not writable");
  keep_both(file, beside);
}

// One way to store volts.
class Sink {
 public:
  Sink() = default;
  Sink(const Sink&) = delete;
  Sink& operator=(const Sink&) = delete;
  virtual ~Sink() = default;
  virtual bool write(std::span<const float> volts) = 0;
  virtual bool close() = 0;
};

std::int16_t count_16(float volts) {
  const double c = std::round(static_cast<double>(volts) / full_scale_16_v * 32768);
  return static_cast<std::int16_t>(std::clamp(c, -32768.0, 32767.0));
}

class StreamSink : public Sink {
 public:
  explicit StreamSink(const fs::path& file) : out_(file, std::ios::binary) {}
  bool close() override {
    out_.close();
    return out_.good();
  }

 protected:
  bool put(const void* data, std::size_t bytes) {
    out_.write(static_cast<const char*>(data), static_cast<std::streamsize>(bytes));
    return out_.good();
  }

 private:
  std::ofstream out_;
};

class RawSink final : public StreamSink {
 public:
  RawSink(const fs::path& file, RawFormat format) : StreamSink(file), format_(format) {}
  bool write(std::span<const float> volts) override {
    if (format_ == RawFormat::F32) return put(volts.data(), volts.size_bytes());
    if (format_ == RawFormat::S16) {
      counts_.resize(volts.size());
      std::transform(volts.begin(), volts.end(), counts_.begin(), count_16);
      return put(counts_.data(), counts_.size() * sizeof(std::int16_t));
    }
    bytes_.resize(volts.size());
    std::transform(volts.begin(), volts.end(), bytes_.begin(), [](float v) {
      const double c = std::round(static_cast<double>(v) / volts_per_count_8) + blanking_count_8;
      return static_cast<std::uint8_t>(std::clamp(c, 0.0, 255.0));
    });
    return put(bytes_.data(), bytes_.size());
  }

 private:
  RawFormat format_;
  std::vector<std::int16_t> counts_;
  std::vector<std::uint8_t> bytes_;
};

class CsvSink final : public StreamSink {
 public:
  CsvSink(const fs::path& file, const CompositeEncoder& e) : StreamSink(file), rate_(e.sample_rate_hz()) {
    const std::string head =
        fmt::format("Composite video, {}, {}\nSample rate,{:.6f},Hz\nTime (s),Voltage (V)\n",
                    e.standard().label, e.picture().name, rate_);
    put(head.data(), head.size());
  }
  bool write(std::span<const float> volts) override {
    fmt::memory_buffer text;
    for (const float v : volts) {
      fmt::format_to(std::back_inserter(text), "{:.11g},{:.6f}\n", static_cast<double>(n_++) / rate_,
                     static_cast<double>(v));
    }
    return put(text.data(), text.size());
  }

 private:
  double rate_;
  std::uint64_t n_ = 0;
};

class WavSink final : public Sink {
 public:
  WavSink(const fs::path& file, double rate_hz, std::uint64_t samples) {
    SF_INFO info{};
    info.samplerate = static_cast<int>(std::lround(rate_hz));
    info.channels = 1;
    // A plain WAV holds 4 GB.
    const bool large = samples > 2'000'000'000;
    info.format = (large ? SF_FORMAT_RF64 : SF_FORMAT_WAV) | SF_FORMAT_PCM_16;
    file_.reset(sf_open(file.c_str(), SFM_WRITE, &info));
  }
  bool write(std::span<const float> volts) override {
    if (!file_) return false;
    counts_.resize(volts.size());
    std::transform(volts.begin(), volts.end(), counts_.begin(), count_16);
    const auto n = static_cast<sf_count_t>(counts_.size());
    return sf_write_short(file_.get(), counts_.data(), n) == n;
  }
  bool close() override { return file_ != nullptr && sf_close(file_.release()) == 0; }

 private:
  struct Closer {
    void operator()(SNDFILE* f) const { sf_close(f); }
  };
  std::unique_ptr<SNDFILE, Closer> file_;
  std::vector<std::int16_t> counts_;
};

struct Storage {
  std::unique_ptr<Sink> sink;
  std::string key;  // "format" in the sidecar
  std::string words;
  double scale = 1;   // volts per count, or per full scale (WAV)
  double offset = 0;  // volts at count 0
  double full_scale_v = 0;
  bool sidecar = true;
};

Storage open_storage(const fs::path& target, const fs::path& draft, const CompositeEncoder& e, RawFormat raw,
                     std::uint64_t samples) {
  const std::string ending = target.extension().string();
  if (ending == ".wav") {
    return {std::make_unique<WavSink>(draft, e.sample_rate_hz(), samples),
            "wav",
            "WAV, 16 bit",
            full_scale_16_v,
            0,
            full_scale_16_v,
            true};
  }
  if (ending == ".csv") {
    return {std::make_unique<CsvSink>(draft, e), "csv", "CSV, time and volts", 1, 0, 0, false};
  }
  if (ending == ".raw") {
    auto sink = std::make_unique<RawSink>(draft, raw);
    switch (raw) {
      case RawFormat::S16:
        return {std::move(sink), "s16le", "raw, 16 bit", full_scale_16_v / 32768, 0, full_scale_16_v, true};
      case RawFormat::F32:
        return {std::move(sink), "f32le", "raw, 32 bit float, volts", 1, 0, 0, true};
      case RawFormat::U8:
        return {std::move(sink),
                "u8",
                "raw, 8 bit",
                volts_per_count_8,
                -volts_per_count_8 * blanking_count_8,
                volts_per_count_8 * 128,
                true};
    }
  }
  throw bad_usage(fmt::format(
      "{}: composite samples go to .wav, .raw or .csv; pictures to .png, .avi or .yuv", target.string()));
}

}  // namespace

RawFormat raw_format(const std::string& name) {
  if (name == "s16le") return RawFormat::S16;
  if (name == "f32le") return RawFormat::F32;
  if (name == "u8") return RawFormat::U8;
  throw bad_usage(fmt::format("sample format '{}' is unknown; use s16le, f32le or u8", name));
}

CompositeFile write_composite(const fs::path& file, CompositeEncoder& encoder, std::uint64_t samples,
                              RawFormat raw, const Progress& progress, const StopFlag* stop) {
  const Draft draft(file);
  Storage storage = open_storage(file, draft.path(), encoder, raw, samples);
  std::vector<float> block(block_samples);
  CompositeFile out;
  while (out.samples < samples) {
    if (stop != nullptr && stop->load()) {
      out.interrupted = true;
      break;
    }
    const auto n = static_cast<std::size_t>(std::min<std::uint64_t>(block_samples, samples - out.samples));
    encoder.read(std::span(block).first(n));
    if (!storage.sink->write(std::span(block).first(n))) {
      throw cannot_write(file, out.samples == 0 ? "the folder is not there or not writable" : "disk full");
    }
    out.samples += n;
    if (progress) progress(static_cast<double>(out.samples) / static_cast<double>(samples), "writing");
  }
  if (!storage.sink->close()) throw cannot_write(file, "disk full or folder not writable");
  out.sample_rate_hz = encoder.sample_rate_hz();
  out.full_scale_v = storage.full_scale_v;
  out.format = storage.words;
  if (!storage.sidecar) {
    draft.keep();
    return out;
  }
  keep_with_facts(draft, {{"sample_rate", out.sample_rate_hz},
                          {"unit", "V"},
                          {"format", storage.key},
                          {"scale", storage.scale},
                          {"offset", storage.offset},
                          {"system", encoder.standard().name},
                          {"picture", encoder.picture().name},
                          {"bandwidth", encoder.band_limit().pass_hz}});
  return out;
}

std::int64_t write_yuv(const fs::path& file, const TestPicture& picture,
                       const standards::VideoStandard& standard, int height, std::int64_t frames,
                       const StopFlag* stop) {
  const Draft draft(file);
  std::ofstream out(draft.path(), std::ios::binary);
  std::int64_t n = 0;
  bool top_first = false;
  for (; n < frames && (stop == nullptr || !stop->load()); ++n) {
    const YuyvFrame f = make_frame(picture, standard, n, height);
    top_first = f.top_field_first;
    out.write(reinterpret_cast<const char*>(f.bytes.data()), static_cast<std::streamsize>(f.bytes.size()));
  }
  out.close();
  if (!out) throw cannot_write(file, "disk full or folder not writable");
  keep_with_facts(draft, {{"width", 720},
                          {"height", height},
                          {"format", "yuyv"},
                          {"standard", standard.is_525() ? "525" : "625"},
                          {"field_order", top_first ? "top" : "bottom"},
                          {"frame_rate", standard.frame_rate_hz()}});
  return n;
}

}  // namespace linebench::signals
