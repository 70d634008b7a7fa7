// Video grabbers, for `devices`.
#pragma once

#include <linebench/capture/grabber.hpp>
#include <nlohmann/json_fwd.hpp>
#include <span>

namespace linebench::app {

[[nodiscard]] nlohmann::json grabbers_json(std::span<const capture::Grabber> grabbers);
void print_grabbers(std::span<const capture::Grabber> grabbers);

}  // namespace linebench::app
