// Text from outside on its way to a terminal.
#include <linebench/report/format.hpp>
#include <string>

#include "target.hpp"

using namespace linebench::report;

FUZZ_TARGET(text) {
  const std::string shown = printable(input);
  fuzz::require(printable(shown) == shown, "what can be shown stays as it is");
  for (const char c : shown)
    fuzz::require(static_cast<unsigned char>(c) >= 0x20 && c != 0x7f, "no control characters");
  for (const char c : to_ascii(input)) fuzz::require((static_cast<unsigned char>(c) & 0x80) == 0, "ASCII");
  std::size_t taken = 0;
  for (std::string_view rest = input; !rest.empty(); rest.remove_prefix(character_length(rest))) {
    const std::size_t n = character_length(rest);
    fuzz::require(n > 0 && n <= rest.size(), "a character has a length");
    taken += n;
  }
  fuzz::require(taken == input.size(), "characters make up the text");
  (void)text_width(input);
}
