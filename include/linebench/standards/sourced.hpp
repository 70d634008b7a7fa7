// A figure of a standard together with its tolerance, who says so, and how sure we are of it.
#pragma once

#include <cstdint>
#include <limits>
#include <string_view>

namespace linebench::standards {

/// How a figure came to be here.
enum class Status {
  Seen,       ///< read in the standard's or rule's own text
  Secondary,  ///< read in a secondary source only (public code or page that names the standard)
  Computed,   ///< follows from other figures by the formula beside it
  Memory,     ///< from memory: credible, to be confirmed in the standard before it decides a contract
};

/// "seen", "secondary source", "computed", "from memory": what a report prints beside the figure.
[[nodiscard]] constexpr std::string_view to_string(Status s) {
  switch (s) {
    case Status::Seen:
      return "seen";
    case Status::Secondary:
      return "secondary source";
    case Status::Computed:
      return "computed";
    case Status::Memory:
      return "from memory";
  }
  return "";
}

/// An exact ratio of whole numbers, den > 0.
struct Rational {
  std::int64_t num = 0;
  std::int64_t den = 1;
  [[nodiscard]] constexpr double value() const { return static_cast<double>(num) / static_cast<double>(den); }
};

/// Nominal value, allowed range nominal - minus .. nominal + plus (in the unit the member's name gives),
/// source tag.
struct Spec {
  static constexpr double no_tolerance = std::numeric_limits<double>::infinity();

  double nominal = 0;
  double minus = no_tolerance;
  double plus = no_tolerance;
  std::string_view source{};
  Status status = Status::Memory;            ///< of the nominal value
  Status tolerance_status = Status::Memory;  ///< of minus and plus

  [[nodiscard]] constexpr bool has_tolerance() const { return minus < no_tolerance && plus < no_tolerance; }
  [[nodiscard]] constexpr double min() const { return nominal - minus; }
  [[nodiscard]] constexpr double max() const { return nominal + plus; }
};

}  // namespace linebench::standards
