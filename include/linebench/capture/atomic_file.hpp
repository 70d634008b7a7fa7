// Small files that are either the old or the new whole text, never half of it.
#pragma once

#include <filesystem>
#include <string>

namespace linebench::capture {

/// Stores text under this name: written to a temporary file beside it, brought to the disk, then renamed.
/// Folders on the way are made. Throws Error(Unusable) naming the file and the cause.
void store_text(const std::filesystem::path& path, const std::string& text);

/// The whole text of a small file. Throws Error(Unusable) where it cannot be read.
[[nodiscard]] std::string load_text(const std::filesystem::path& path);

}  // namespace linebench::capture
