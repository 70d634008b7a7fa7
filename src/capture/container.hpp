// What an audio file's own header promises, and the names of formats.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

namespace linebench::capture {

struct DataExtent {
  std::uint64_t promised = 0;   ///< bytes of samples by the header
  std::uint64_t available = 0;  ///< bytes from there to the end of the file
};

/// The sample data of a RIFF/WAV, RF64, W64 or AIFF file. libsndfile silently shortens a file that ends
/// before its header says so; a measurement must know. Nothing for other containers and for a length left
/// open by a recorder that could not go back (0 or all ones).
[[nodiscard]] std::optional<DataExtent> sample_data_extent(const std::filesystem::path& path);

/// "WAV, 24 bit" from libsndfile's format word.
[[nodiscard]] std::string format_in_words(int sndfile_format);

/// The coding loses what it thinks is not heard, and noise readings with it (MP3, Vorbis, Opus, ADPCM ...).
[[nodiscard]] bool is_lossy(int sndfile_format);
[[nodiscard]] bool is_float(int sndfile_format);

}  // namespace linebench::capture
