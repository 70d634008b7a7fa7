// A reading: a measured value that is never bare. It carries its unit, its uncertainty, the limit it was
// judged by with that limit's source, and, where it could not be measured, the reason.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace linebench {

enum class Verdict { Info, Pass, Fail, Unmeasurable };

/// "info", "pass", "fail", "unmeasurable": the words of the JSON contract.
[[nodiscard]] std::string_view to_string(Verdict v);

/// A value over an axis, e.g. a response in dB over Hz. x, y (and uncertainty, where not empty) have equal
/// length.
struct Curve {
  std::vector<double> x;
  std::vector<double> y;
  std::string x_unit;
  std::string y_unit;
  std::vector<double>
      uncertainty{};  ///< expanded (k=2), per point; empty when one figure serves the whole curve
};

/// One corner of a tolerance mask over a curve's x axis; straight lines in between (log x).
struct MaskPoint {
  double x = 0;
  std::optional<double> min;
  std::optional<double> max;
};

/// What a reading is judged against, and who says so.
struct Limit {
  std::optional<double> min;
  std::optional<double> max;
  std::vector<std::string> allowed;  ///< for text readings: the words that pass
  std::vector<MaskPoint> mask;       ///< for curve readings
  std::string source;                ///< the standard's tag, or "common practice"
};

using Value = std::variant<std::monostate, double, std::string, Curve>;

struct Reading {
  std::string id;     ///< e.g. "audio.hum.level.left"; the catalogue explains it
  std::string label;  ///< the trade's words for it
  Value value;        ///< empty exactly when the verdict is Unmeasurable
  std::string unit;
  std::optional<double>
      uncertainty;  ///< expanded, k=2, in the reading's unit; absent for text and exact counts
  Verdict verdict = Verdict::Info;
  std::optional<Limit> limit;
  std::string reason;  ///< why it is unmeasurable; or a remark that belongs to the value
  std::optional<double>
      at_most;  ///< unmeasurable because nothing was found: whatever is there is below this (k=2)

  [[nodiscard]] bool measured() const { return !std::holds_alternative<std::monostate>(value); }
  /// The value as a number. Throws std::bad_variant_access when it is none.
  [[nodiscard]] double number() const { return std::get<double>(value); }
  [[nodiscard]] const std::string& text() const { return std::get<std::string>(value); }
  [[nodiscard]] const Curve& curve() const { return std::get<Curve>(value); }
};

using Readings = std::vector<Reading>;

/// Makers: label and unit come from the catalogue (catalogue.hpp), so that each is written in one place.
/// @param id full id, with any ".left"/".right" suffix. An id the catalogue does not know throws
/// std::logic_error.
[[nodiscard]] Reading number_reading(std::string_view id, double value, std::optional<double> uncertainty_k2,
                                     std::string remark = {});
[[nodiscard]] Reading text_reading(std::string_view id, std::string value, std::string remark = {});
[[nodiscard]] Reading curve_reading(std::string_view id, Curve value, std::optional<double> uncertainty_k2,
                                    std::string remark = {});
/// @param reason says why, and what input would show it.
[[nodiscard]] Reading unmeasurable(std::string_view id, std::string reason,
                                   std::optional<double> at_most = std::nullopt);

/// The reading with this id, or nullptr.
[[nodiscard]] const Reading* find_reading(const Readings& readings, std::string_view id);

}  // namespace linebench
