// Files that stay whole: small ones are either the old or the new whole text, long ones have one writer.
#pragma once

#include <filesystem>
#include <string>

namespace linebench::capture {

/// Stores text under this name: written to a temporary file beside it, brought to the disk, then renamed.
/// Folders on the way are made. Throws Error(Unusable) naming the file and the cause.
void store_text(const std::filesystem::path& path, const std::string& text);

/// The whole text of a small file. Throws Error(Unusable) where it cannot be read.
[[nodiscard]] std::string load_text(const std::filesystem::path& path);

/// What the facts of a capture say until it has ended in an orderly way.
inline constexpr const char* unfinished_note =
    "The capture was cut off: its program was ended before it could finish.";

/// Opens a file that grows for long, emptied, for one program at a time: a second one that wants to write it
/// is refused instead of mixing its samples in (an advisory lock, free again when the descriptor is closed or
/// its program ends in whatever way). @return the descriptor, for the caller to close. Throws
/// Error(Unusable).
[[nodiscard]] int open_as_only_writer(const std::filesystem::path& path);

}  // namespace linebench::capture
