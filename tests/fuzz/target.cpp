#include "target.hpp"

#include <linebench/base/error.hpp>
#include <linebench/report/format.hpp>
#include <stdexcept>

namespace fuzz {

void require(bool holds, const char* what) {
  if (!holds) throw std::logic_error(what);
}

bool reads(const std::function<void()>& reader) {
  try {
    reader();
    return true;
  } catch (const linebench::Error& e) {
    require(e.exit() == linebench::Exit::Usage || e.exit() == linebench::Exit::Unusable,
            "a refusal's exit code");
    const std::string line = linebench::report::printable(e.what());
    require(!line.empty(), "a refusal says something");
    require(line.find_first_of("\n\r\x1b") == std::string::npos, "a refusal is one line");
    return false;
  }
}

Parts split(std::string_view input) {
  constexpr std::string_view mark = "\n%%\n";
  const auto at = input.find(mark);
  if (at == std::string_view::npos) return {input, {}};
  return {input.substr(0, at + 1), input.substr(at + mark.size())};
}

}  // namespace fuzz
