// The half of the world the work is in, chosen once: mains, television system, paper, language.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

namespace linebench::check {

struct Profile {
  int mains_hz = 50;            ///< 50 or 60
  std::string system = "625";   ///< "525", "525-no-setup", "625"
  std::string paper = "a4";     ///< "a4", "letter"
  std::string language = "en";  ///< of the words (check/words.hpp)
};

/// $LINEBENCH_PROFILE, else profile.toml in $LINEBENCH_HOME, in $XDG_CONFIG_HOME/linebench or in
/// ~/.config/linebench.
[[nodiscard]] std::filesystem::path profile_file();

/// Nothing when none was chosen yet. Throws Error(Unusable): file, line, key.
[[nodiscard]] std::optional<Profile> load_profile();
[[nodiscard]] Profile parse_profile(std::string_view text, const std::string& file);
/// The text parse_profile() reads.
[[nodiscard]] std::string to_toml(const Profile& profile);

/// The usual one of a mains frequency: 50 Hz, 625 lines, A4; or 60 Hz, 525 lines, Letter.
[[nodiscard]] Profile usual_profile(int mains_hz);

}  // namespace linebench::check
