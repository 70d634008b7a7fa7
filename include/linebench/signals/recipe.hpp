// A recipe: what a test signal is called, what it is for and what is in it. A recipe is a TOML file, so that
// a user can add one without compiling:
//
//   name = "tone-1k"              # the file's name without .toml
//   title = "Tone, 1 kHz"
//   purpose = "..."               # one plain sentence: what it is for
//   source = "[AES17]"            # where its values come from
//   kind = "sine"                 # which kind of signal (kinds.hpp)
//   [parameters]
//   frequency_hz = 1000
#pragma once

#include <filesystem>
#include <linebench/signals/kinds.hpp>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::signals {

struct Recipe {
  std::string name;
  std::string title;
  std::string purpose;
  std::string source;
  const SignalKind* kind = nullptr;  ///< never null in a loaded recipe
  std::filesystem::path path;
  std::map<std::string, ParameterValue, std::less<>> parameters;  ///< checked; fallbacks filled in

  [[nodiscard]] bool has(std::string_view key) const { return parameters.find(key) != parameters.end(); }
  /// A parameter the kind is known to have. Throws std::logic_error when it has not, or has another type: a
  /// mistake in the program, never in a recipe.
  [[nodiscard]] double number(std::string_view key) const;
  [[nodiscard]] bool flag(std::string_view key) const;
  [[nodiscard]] const std::string& text(std::string_view key) const;
  [[nodiscard]] const std::vector<double>& numbers(std::string_view key) const;
  [[nodiscard]] const std::vector<std::string>& texts(std::string_view key) const;
};

/// The recipe in a file.
/// Throws Error(Unusable), one line with file, line and key, when it cannot be read or is not right: not
/// TOML, a key missing, unknown or of a wrong type, a number out of its range, a name that is not the file's.
[[nodiscard]] Recipe read_recipe(const std::filesystem::path& file);

/// A recipe by name (the user's own in store_dir()/signals before the shipped ones in share_dir()/signals) or
/// by path (anything with a '/' or ending in ".toml"). Throws Error(Usage) for an unknown name, naming the
/// nearest ones; else as read_recipe.
[[nodiscard]] Recipe load_recipe(const std::string& name_or_path);

struct RecipeList {
  std::vector<Recipe> recipes;  ///< sorted by name; a user's own stands in for a shipped one of the same name
  std::vector<std::string> problems;  ///< one line for each file that is no good recipe
};
[[nodiscard]] RecipeList list_recipes();  ///< shipped and the user's

}  // namespace linebench::signals
