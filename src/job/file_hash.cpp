#include <fmt/format.h>
#include <nettle/sha2.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/job/store.hpp>
#include <system_error>
#include <vector>

namespace linebench::job {

std::string sha256_of(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) throw unusable(fmt::format("{}: cannot be read: {}", file.string(), std::strerror(errno)));
  sha256_ctx context;
  sha256_init(&context);
  std::vector<char> block(1 << 16);
  while (in) {
    in.read(block.data(), static_cast<std::streamsize>(block.size()));
    sha256_update(&context, static_cast<std::size_t>(in.gcount()),
                  reinterpret_cast<const std::uint8_t*>(block.data()));
  }
  if (in.bad()) throw unusable(fmt::format("{}: reading stopped: {}", file.string(), std::strerror(errno)));
  std::array<std::uint8_t, SHA256_DIGEST_SIZE> digest{};
  sha256_digest(&context, digest.size(), digest.data());
  std::string hex;
  for (const std::uint8_t b : digest) hex += fmt::format("{:02x}", b);
  return hex;
}

std::string file_state(const Capture& capture) {
  if (capture.file.empty()) return {};  // a mark of a live measurement never had one
  std::error_code error;
  const auto size = std::filesystem::file_size(capture.file, error);
  if (error) return fmt::format("the file is not where it was ({})", capture.file.string());
  // A different size settles it without reading a long file.
  if (size != capture.bytes || sha256_of(capture.file) != capture.sha256) {
    return fmt::format("the file was changed after it was measured ({})", capture.file.string());
  }
  return {};
}

}  // namespace linebench::job
