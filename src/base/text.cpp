#include <algorithm>
#include <linebench/base/text.hpp>

namespace linebench {

std::string lower_case(std::string_view text) {
  std::string s(text);
  std::ranges::transform(s, s.begin(),
                         [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
  return s;
}

std::string trimmed(std::string_view text) {
  constexpr std::string_view white = " \t\n\v\f\r";
  const auto from = text.find_first_not_of(white);
  if (from == std::string_view::npos) return {};
  return std::string(text.substr(from, text.find_last_not_of(white) - from + 1));
}

}  // namespace linebench
