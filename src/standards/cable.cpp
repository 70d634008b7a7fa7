#include <array>
#include <linebench/standards/cable.hpp>

namespace linebench::standards {
namespace {

// Coaxial losses are the middle and the ends of what makes are commonly listed with, from memory. The pair's
// is 1.967 sqrt(f) + 0.023 f + 0.050/sqrt(f) dB, f in MHz, of solid horizontal cable, seen in public code.
constexpr std::array<CableType, 3> types = {{
    {"rg59",
     "RG-59 class coaxial",
     {2.25, 0.35, 0.35, "common practice", Status::Memory, Status::Memory},
     0.66},
    {"rg6", "RG-6 class coaxial", {1.7, 0.2, 0.2, "common practice", Status::Memory, Status::Memory}, 0.80},
    {"cat5e",
     "category 5e pair",
     {4.54, 0.3, 0.3, "category 5e loss formula", Status::Secondary, Status::Memory},
     0.66},
}};

}  // namespace

std::span<const CableType> cable_types() { return types; }

const CableType* find_cable_type(std::string_view name) {
  for (const CableType& t : types) {
    if (t.name == name) return &t;
  }
  return nullptr;
}

}  // namespace linebench::standards
