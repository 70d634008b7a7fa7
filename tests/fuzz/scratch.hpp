// Files for readers that want a path, in a folder of this process, and readers read to their end.
#pragma once

#include <filesystem>
#include <linebench/base/audio_source.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/capture/video_samples.hpp>
#include <linebench/diagnose/fault_book.hpp>
#include <string>
#include <string_view>

namespace fuzz {

/// The folder; gone when the process ends.
[[nodiscard]] const std::filesystem::path& scratch_folder();

/// Writes a file of that name into the folder (folders on the way are made), replacing it.
std::filesystem::path scratch(const std::filesystem::path& name, std::string_view content);

/// Reads to the end, four million samples or sixteen frames at most, and requires what the readers promise:
/// finite samples, frames of the size said.
void read_all(linebench::AudioSource& source);
void read_all(linebench::capture::VideoSource& source);
void read_all(linebench::capture::FrameSource& source);

/// The shipped fault book, read once.
[[nodiscard]] const linebench::diagnose::FaultBook& shipped_book();

}  // namespace fuzz
