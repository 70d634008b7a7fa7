#include "identity.hpp"

#include <fmt/chrono.h>
#include <uuid/uuid.h>

#include <array>
#include <chrono>

namespace linebench::job {

std::string new_uid() {
  uuid_t raw;
  uuid_generate_random(raw);
  std::array<char, 37> text{};
  uuid_unparse_lower(raw, text.data());
  return text.data();
}

std::int64_t now_ms() {
  using namespace std::chrono;
  return floor<milliseconds>(system_clock::now()).time_since_epoch().count();
}

std::string now() {
  using namespace std::chrono;
  const auto t = floor<milliseconds>(system_clock::now());
  return fmt::format("{:%Y-%m-%dT%H:%M}:{:%S}Z", fmt::gmtime(system_clock::to_time_t(t)),
                     t.time_since_epoch() % minutes(1));
}

}  // namespace linebench::job
