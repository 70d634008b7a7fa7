// The fuzzer's way in: LINEBENCH_FUZZ_TARGET names the target.
#include <cstdio>
#include <cstdlib>

#include "../target.hpp"

namespace {

fuzz::Entry chosen() {
  const char* name = std::getenv("LINEBENCH_FUZZ_TARGET");
  const auto& all = fuzz::targets();
  const auto it = all.find(name != nullptr ? name : "");
  if (it != all.end()) return it->second;
  std::fprintf(stderr, "LINEBENCH_FUZZ_TARGET must be one of:");
  for (const auto& [known, entry] : all) std::fprintf(stderr, " %s", known.c_str());
  std::fprintf(stderr, "\n");
  std::exit(2);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const fuzz::Entry entry = chosen();
  entry({reinterpret_cast<const char*>(data), size});
  return 0;
}
