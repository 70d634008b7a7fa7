// The program itself: its version, and where its files lie.
#pragma once
#include <filesystem>
#include <string_view>

namespace linebench {

/// Program version, e.g. "0.1.0".
[[nodiscard]] std::string_view version();

/// Folder that holds the shipped `signals/` and `captures/`: the one beside the program or its parents, else
/// the source tree it was built from. `LINEBENCH_SHARE` in the environment overrides it. Throws
/// Error(Unusable) when there is none, saying what to set.
[[nodiscard]] std::filesystem::path share_dir();

/// Folder for what the program stores for this user (calibrations, jobs): $LINEBENCH_HOME, else
/// $XDG_DATA_HOME/linebench, else ~/.local/share/linebench. Not created here.
[[nodiscard]] std::filesystem::path store_dir();

}  // namespace linebench
