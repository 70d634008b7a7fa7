#include "container.hpp"

#include <fmt/format.h>
#include <sndfile.h>

#include <array>
#include <cstring>
#include <fstream>
#include <string_view>

namespace linebench::capture {
namespace {

class ChunkReader {
 public:
  explicit ChunkReader(const std::filesystem::path& path)
      : in_(path, std::ios::binary), size_(std::filesystem::file_size(path)) {}

  bool fill(std::uint64_t at, char* bytes, std::size_t n) {
    if (at > size_ || n > size_ - at) return false;
    in_.seekg(static_cast<std::streamoff>(at));
    return static_cast<bool>(in_.read(bytes, static_cast<std::streamsize>(n)));
  }
  std::string tag(std::uint64_t at) {
    std::string t(4, '\0');
    return fill(at, t.data(), 4) ? t : std::string();
  }
  std::uint64_t number(std::uint64_t at, std::size_t bytes, bool big_endian = false) {
    std::array<char, 8> b{};
    if (!fill(at, b.data(), bytes)) return 0;
    std::uint64_t v = 0;
    for (std::size_t i = 0; i < bytes; ++i) {
      v = v << 8 | static_cast<unsigned char>(b[big_endian ? i : bytes - 1 - i]);
    }
    return v;
  }
  [[nodiscard]] std::uint64_t size() const { return size_; }

 private:
  std::ifstream in_;
  std::uint64_t size_;
};

constexpr std::uint64_t open_ended = 0xFFFFFFFF;
constexpr int most_chunks = 1000;  // a header with more is not worth following

/// RIFF and AIFF share the layout (tag, 32-bit size, body padded to even); RF64 puts the true size in its
/// ds64 chunk.
std::optional<DataExtent> riff_like(ChunkReader& file, std::string_view data_tag, bool big_endian) {
  std::uint64_t long_size = 0;
  std::uint64_t at = 12;
  for (int i = 0; i < most_chunks && at + 8 <= file.size(); ++i) {
    const std::string tag = file.tag(at);
    const std::uint64_t size = file.number(at + 4, 4, big_endian);
    if (tag == "ds64") long_size = file.number(at + 16, 8);
    if (tag == data_tag) {
      const std::uint64_t promised = size == open_ended ? long_size : size;
      if (promised == 0) return std::nullopt;
      return DataExtent{promised, file.size() - at - 8};
    }
    at += 8 + size + (size & 1);
  }
  return std::nullopt;
}

/// Wave64: 16-byte identifiers whose first four bytes are the RIFF tag in lower case, 64-bit sizes that
/// include the 24 bytes of the chunk's head, chunks aligned to 8.
std::optional<DataExtent> wave64(ChunkReader& file) {
  std::uint64_t at = 40;
  for (int i = 0; i < most_chunks && at + 24 <= file.size(); ++i) {
    const std::uint64_t size = file.number(at + 16, 8);
    if (size < 24 || size > (std::uint64_t{1} << 62)) return std::nullopt;
    if (file.tag(at) == "data") return DataExtent{size - 24, file.size() - at - 24};
    at += (size + 7) / 8 * 8;
  }
  return std::nullopt;
}

}  // namespace

std::optional<DataExtent> sample_data_extent(const std::filesystem::path& path) {
  ChunkReader file(path);
  const std::string form = file.tag(0);
  if (form == "RIFF" || form == "RF64") return riff_like(file, "data", false);
  if (form == "FORM") return riff_like(file, "SSND", true);
  if (form == "riff") return wave64(file);
  return std::nullopt;
}

std::string format_in_words(int format) {
  const auto container = [&]() -> std::string {
    switch (format & SF_FORMAT_TYPEMASK) {
      case SF_FORMAT_WAV:
      case SF_FORMAT_WAVEX:
        return "WAV";
      case SF_FORMAT_RF64:
        return "RF64";
      case SF_FORMAT_W64:
        return "W64";
      case SF_FORMAT_AIFF:
        return "AIFF";
      case SF_FORMAT_FLAC:
        return "FLAC";
      default:
        break;
    }
    SF_FORMAT_INFO info{};
    info.format = format & SF_FORMAT_TYPEMASK;
    if (sf_command(nullptr, SFC_GET_FORMAT_INFO, &info, sizeof info) == 0 && info.name != nullptr)
      return info.name;
    return "audio file";
  }();
  const auto coding = [&]() -> std::string {
    switch (format & SF_FORMAT_SUBMASK) {
      case SF_FORMAT_PCM_S8:
      case SF_FORMAT_PCM_U8:
        return "8 bit";
      case SF_FORMAT_PCM_16:
        return "16 bit";
      case SF_FORMAT_PCM_24:
        return "24 bit";
      case SF_FORMAT_PCM_32:
        return "32 bit";
      case SF_FORMAT_FLOAT:
        return "32 bit float";
      case SF_FORMAT_DOUBLE:
        return "64 bit float";
      default:
        break;
    }
    SF_FORMAT_INFO info{};
    info.format = format & SF_FORMAT_SUBMASK;
    if (sf_command(nullptr, SFC_GET_FORMAT_INFO, &info, sizeof info) == 0 && info.name != nullptr)
      return info.name;
    return "unknown coding";
  }();
  return fmt::format("{}, {}", container, coding);
}

bool is_float(int format) {
  const int coding = format & SF_FORMAT_SUBMASK;
  return coding == SF_FORMAT_FLOAT || coding == SF_FORMAT_DOUBLE;
}

bool is_lossy(int format) {
  switch (format & SF_FORMAT_SUBMASK) {
    case SF_FORMAT_PCM_S8:
    case SF_FORMAT_PCM_U8:
    case SF_FORMAT_PCM_16:
    case SF_FORMAT_PCM_24:
    case SF_FORMAT_PCM_32:
    case SF_FORMAT_FLOAT:
    case SF_FORMAT_DOUBLE:
    case SF_FORMAT_ALAC_16:
    case SF_FORMAT_ALAC_20:
    case SF_FORMAT_ALAC_24:
    case SF_FORMAT_ALAC_32:
    case SF_FORMAT_DPCM_8:
    case SF_FORMAT_DPCM_16:
      return false;
    default:
      return true;
  }
}

}  // namespace linebench::capture
