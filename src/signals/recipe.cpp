#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/error.hpp>
#include <linebench/base/version.hpp>
#include <linebench/signals/recipe.hpp>
#include <stdexcept>
#include <system_error>

#include "near_names.hpp"

namespace linebench::signals {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view extension = ".toml";

template <typename T>
const T& value_of(const Recipe& recipe, std::string_view key) {
  const auto found = recipe.parameters.find(key);
  const T* value = found == recipe.parameters.end() ? nullptr : std::get_if<T>(&found->second);
  if (value == nullptr) {
    throw std::logic_error(fmt::format("recipe '{}' has no parameter '{}' of that type", recipe.name, key));
  }
  return *value;
}

/// Where recipes are looked for, the user's own first.
std::vector<fs::path> recipe_folders() {
  std::vector<fs::path> folders;
  try {
    folders.push_back(store_dir() / "signals");
  } catch (const Error&) {  // no home folder: there are the shipped recipes still
  }
  folders.push_back(share_dir() / "signals");
  return folders;
}

std::vector<fs::path> recipe_files(const fs::path& folder) {
  std::vector<fs::path> files;
  std::error_code ec;
  for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec)) {
    if (it->path().extension() == extension && !it->is_directory(ec)) files.push_back(it->path());
  }
  std::ranges::sort(files);
  return files;
}

std::vector<std::string> recipe_names() {
  std::vector<std::string> names;
  for (const fs::path& folder : recipe_folders()) {
    for (const fs::path& file : recipe_files(folder)) names.push_back(file.stem().string());
  }
  std::ranges::sort(names);
  names.erase(std::unique(names.begin(), names.end()), names.end());
  return names;
}

}  // namespace

double Recipe::number(std::string_view key) const { return value_of<double>(*this, key); }
bool Recipe::flag(std::string_view key) const { return value_of<bool>(*this, key); }
const std::string& Recipe::text(std::string_view key) const { return value_of<std::string>(*this, key); }
const std::vector<double>& Recipe::numbers(std::string_view key) const {
  return value_of<std::vector<double>>(*this, key);
}
const std::vector<std::string>& Recipe::texts(std::string_view key) const {
  return value_of<std::vector<std::string>>(*this, key);
}

Recipe load_recipe(const std::string& name_or_path) {
  if (name_or_path.find('/') != std::string::npos || name_or_path.ends_with(extension))
    return read_recipe(name_or_path);
  std::error_code ec;
  for (const fs::path& folder : recipe_folders()) {
    const fs::path file = folder / (name_or_path + std::string(extension));
    if (fs::exists(file, ec)) return read_recipe(file);
  }
  const auto near = near_names(name_or_path, recipe_names());
  throw bad_usage(fmt::format(
      "no signal is called '{}'; {}", name_or_path,
      near.empty() ? "'linebench signals list' shows all there are"
                   : fmt::format("did you mean {}? 'linebench signals list' shows all", comma_list(near))));
}

RecipeList list_recipes() {
  std::map<std::string, Recipe> by_name;
  RecipeList list;
  for (const fs::path& folder : recipe_folders()) {
    for (const fs::path& file : recipe_files(folder)) {
      try {
        Recipe recipe = read_recipe(file);
        std::string name = recipe.name;
        by_name.try_emplace(std::move(name), std::move(recipe));
      } catch (const Error& e) {
        list.problems.emplace_back(e.what());
      }
    }
  }
  for (auto& [name, recipe] : by_name) list.recipes.push_back(std::move(recipe));
  return list;
}

}  // namespace linebench::signals
