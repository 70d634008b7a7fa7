// A fuzz target: one reader, fed with any bytes. It may refuse them with an Error, and nothing else.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <span>
#include <string>
#include <string_view>

namespace fuzz {

using Entry = void (*)(std::string_view input);

/// All targets of this program by name; the corpus of each stands in tests/fuzz/corpus/NAME.
inline std::map<std::string, Entry>& targets() {
  static std::map<std::string, Entry> all;
  return all;
}

struct Register {
  Register(const char* name, Entry entry) { targets().emplace(name, entry); }
};

/// Throws std::logic_error, naming what does not hold: the target's property, not the reader's error.
void require(bool holds, const char* what);

/// Runs a reader. @return false when it refused with an Error; that error must be one a person can be shown.
/// Everything else it throws goes through.
bool reads(const std::function<void()>& reader);

/// An input of several parts, split at lines "%%".
struct Parts {
  std::string_view first, second;
};
[[nodiscard]] Parts split(std::string_view input);

}  // namespace fuzz

/// Defines a target: FUZZ_TARGET(csv) { ... input ... }
#define FUZZ_TARGET(name)                                               \
  static void fuzz_##name(std::string_view input);                      \
  static const fuzz::Register fuzz_register_##name(#name, fuzz_##name); \
  static void fuzz_##name([[maybe_unused]] std::string_view input)
