// Cables that composite video runs on: loss and velocity.
#pragma once

#include <linebench/standards/sourced.hpp>
#include <span>
#include <string_view>

namespace linebench::standards {

/// A class of cable. Loss follows the root of frequency closely enough between 1 and 6 MHz.
struct CableType {
  std::string_view name;   ///< the command line's word
  std::string_view label;  ///< for people
  Spec loss_5mhz_db{};     ///< per 100 m at 5 MHz: typical, and how far makes differ
  double velocity_factor = 0;
};

/// RG-59 and RG-6 class coaxial cable, category 5e pair.
[[nodiscard]] std::span<const CableType> cable_types();
/// By name; nullptr when there is none.
[[nodiscard]] const CableType* find_cable_type(std::string_view name);

}  // namespace linebench::standards
