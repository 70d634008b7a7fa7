// The captures of a simulated installation as files.
#include <algorithm>
#include <fstream>
#include <linebench/base/draft.hpp>
#include <linebench/base/error.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/capture/audio_file.hpp>
#include <linebench/faultsim/captures.hpp>
#include <nlohmann/json.hpp>
#include <numbers>

namespace linebench::faultsim {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// The converter's rails: an open line stands at twice its level.
constexpr double waveform_rail_v = 4;
constexpr double lowband_rail_v = 4;

void write_audio(const fs::path& file, const AudioTake& take, const std::string& signal, double full_scale) {
  capture::AudioFileWriter out(file, take.rate_hz, take.channels, capture::SampleFormat::Pcm24);
  out.write(take.samples);
  CaptureFacts facts;
  facts.signal = signal;
  facts.full_scale_v = full_scale;
  facts.notes = {"simulated"};
  out.finish(facts);
}

void write_bytes(const fs::path& file, const std::vector<char>& bytes) {
  const Draft draft(file);
  std::ofstream out(draft.path(), std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  out.close();
  if (!out) throw cannot_write(file, "disk full or folder not writable");
  draft.keep();
}

void write_waveform(const fs::path& file, const CompositeTake& take) {
  std::vector<char> bytes;
  bytes.reserve(2 * take.volts.size());
  for (const float v : take.volts) {
    const auto c = static_cast<std::int16_t>(
        std::clamp(std::lround(static_cast<double>(v) / waveform_rail_v * 32768), -32768L, 32767L));
    bytes.push_back(static_cast<char>(c & 0xFF));
    bytes.push_back(static_cast<char>((c >> 8) & 0xFF));
  }
  write_bytes(file, bytes);
  const json sidecar = {
      {"sample_rate", take.rate_hz}, {"unit", "V"}, {"format", "s16le"}, {"scale", waveform_rail_v / 32768}};
  capture::store_text(fs::path(file).replace_extension(".json"), sidecar.dump(2) + "\n");
}

void write_picture(const fs::path& file, const PictureTake& take) {
  std::vector<char> bytes;
  for (const auto& frame : take.frames) bytes.insert(bytes.end(), frame.begin(), frame.end());
  write_bytes(file, bytes);
  json lost = json::array();
  for (const auto& [at, count] : take.lost) lost.push_back({at, count});
  const json sidecar = {{"width", take.width},
                        {"height", take.height},
                        {"format", "yuyv"},
                        {"standard", std::to_string(take.lines)},
                        {"field_order", take.lines == 625 ? "top" : "bottom"},
                        {"frame_rate", take.frame_rate_hz},
                        {"signal", "video-bars-100"},
                        {"lost", lost}};
  capture::store_text(fs::path(file).replace_extension(".json"), sidecar.dump(2) + "\n");
}

}  // namespace

std::vector<std::string> write_captures(const Installation& s, std::uint64_t seed, const fs::path& folder) {
  std::error_code failed;
  fs::create_directories(folder, failed);
  if (failed) throw cannot_write(folder, failed.message());
  // Sine of full_scale_v rms at full scale.
  const double audio_full_scale = full_scale_v * std::numbers::sqrt2;
  write_audio(folder / "lines.wav", record_lines(s, seed, 20), "tone-1k", audio_full_scale);
  write_audio(folder / "idle.wav", record_idle(s, seed, 15), "silence", audio_full_scale);
  write_audio(folder / "sides.wav", record_sides(s, seed, 15), "left-right", audio_full_scale);
  write_audio(folder / "response.wav", record_response(s, seed), "sweep-speech", audio_full_scale);
  write_audio(folder / "feed.wav", record_feed(s, seed, 20), "", audio_full_scale);
  write_waveform(folder / "camera.raw", record_waveform(s, seed, 1.0));
  write_waveform(folder / "camera-steps.raw", record_waveform(s, seed + 33, 0.4, true));
  CompositeTake low = record_lowband(s, seed, 8);
  AudioTake card;
  card.rate_hz = low.rate_hz;
  card.channels = 1;
  card.samples = std::move(low.volts);
  for (float& v : card.samples)
    v = static_cast<float>(std::clamp(static_cast<double>(v) / lowband_rail_v, -1.0, 1.0));
  write_audio(folder / "camera-lowband.wav", card, "video-bars-100", lowband_rail_v);
  write_picture(folder / "picture.yuv", record_picture(s, seed, 4));
  return {"lines.wav",  "idle.wav",         "sides.wav",          "response.wav", "feed.wav",
          "camera.raw", "camera-steps.raw", "camera-lowband.wav", "picture.yuv"};
}

}  // namespace linebench::faultsim
