#include "near_names.hpp"

#include <algorithm>
#include <numeric>
#include <utility>

namespace linebench::signals {
namespace {

std::size_t edit_distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 0; i < a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i + 1;
    for (std::size_t j = 0; j < b.size(); ++j) {
      const std::size_t replace = diagonal + (a[i] == b[j] ? 0 : 1);
      diagonal = row[j + 1];
      row[j + 1] = std::min({replace, row[j] + 1, diagonal + 1});
    }
  }
  return row.back();
}

}  // namespace

std::vector<std::string> near_names(std::string_view name, const std::vector<std::string>& candidates,
                                    std::size_t most) {
  std::vector<std::pair<std::size_t, std::string>> ranked;
  for (const std::string& c : candidates) {
    if (name.empty() || c.empty()) continue;
    const bool part = c.find(name) != std::string::npos || name.find(c) != std::string_view::npos;
    const std::size_t distance = edit_distance(name, c);
    if (part || distance <= std::max<std::size_t>(2, name.size() * 2 / 5))
      ranked.emplace_back(part ? 0 : distance, c);
  }
  std::ranges::sort(ranked);
  std::vector<std::string> out;
  for (auto& [distance, c] : ranked) {
    if (out.size() < most) out.push_back(std::move(c));
  }
  return out;
}

std::string comma_list(const std::vector<std::string>& names) {
  std::string out;
  for (const std::string& n : names) out += (out.empty() ? "" : ", ") + n;
  return out;
}

}  // namespace linebench::signals
