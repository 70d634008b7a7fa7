#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>
#include <linebench/base/error.hpp>
#include <linebench/capture/atomic_file.hpp>
#include <linebench/check/profile.hpp>

#include "../diagnose/toml_reader.hpp"

namespace linebench::check {

namespace fs = std::filesystem;

fs::path profile_file() {
  const auto env = [](const char* name) -> fs::path {
    const char* v = std::getenv(name);
    return v != nullptr ? v : "";
  };
  if (auto p = env("LINEBENCH_PROFILE"); !p.empty()) return p;
  if (auto p = env("LINEBENCH_HOME"); !p.empty()) return p / "profile.toml";
  if (auto p = env("XDG_CONFIG_HOME"); !p.empty()) return p / "linebench/profile.toml";
  if (auto p = env("HOME"); !p.empty()) return p / ".config/linebench/profile.toml";
  throw unusable("no folder for this user's settings: set LINEBENCH_PROFILE to a file");
}

Profile parse_profile(std::string_view text, const std::string& file) {
  const diagnose::TomlReader r(file);
  const toml::table t = r.parse(text);
  r.only(t, {"mains_hz", "system", "paper", "language"});
  Profile p;
  const double hz = r.number(t, "mains_hz", 50);
  if (hz != 50 && hz != 60) throw r.wrong(t.source(), "\"mains_hz\" must be 50 or 60");
  p = usual_profile(static_cast<int>(hz));
  const auto word = [&](const char* key, std::string& value, std::initializer_list<std::string_view> known) {
    if (!t.contains(key)) return;
    value = r.text(t, key);
    if (known.size() > 0 && std::find(known.begin(), known.end(), value) == known.end())
      throw r.wrong(t.get(key)->source(),
                    fmt::format("\"{}\" must be one of: {}", key, fmt::join(known, ", ")));
  };
  word("system", p.system, {"525", "525-no-setup", "625"});
  word("paper", p.paper, {"a4", "letter"});
  word("language", p.language, {});
  if (!std::all_of(p.language.begin(), p.language.end(),
                   [](unsigned char c) { return std::isalnum(c) != 0 || c == '-'; }))
    throw r.wrong(t.get("language")->source(), "\"language\" must be letters, as in \"en\"");
  return p;
}

std::optional<Profile> load_profile() {
  const fs::path file = profile_file();
  std::error_code ec;
  if (!fs::exists(file, ec)) return std::nullopt;
  return parse_profile(capture::load_text(file), file.string());
}

std::string to_toml(const Profile& p) {
  return fmt::format("mains_hz = {}\nsystem = \"{}\"\npaper = \"{}\"\nlanguage = \"{}\"\n", p.mains_hz,
                     p.system, p.paper, p.language);
}

Profile usual_profile(int mains_hz) {
  return mains_hz == 60 ? Profile{60, "525", "letter", "en"} : Profile{};
}

}  // namespace linebench::check
