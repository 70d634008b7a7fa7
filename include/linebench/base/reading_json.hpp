// Readings as they stand in every JSON document of the program, in the job store, and read back.
#pragma once

#include <linebench/base/reading.hpp>
#include <nlohmann/json_fwd.hpp>

namespace linebench {

/// One reading by the contract: id, label, value (number, text, curve or null), unit, verdict, uncertainty,
/// limit, reason, at_most. What is not finite stands as null: JSON has no infinity.
[[nodiscard]] nlohmann::json reading_to_json(const Reading& reading);
/// The reverse, exact for what reading_to_json() wrote. Unknown keys are ignored; a missing id, a wrong type
/// or a curve of unequal lengths throws Error(Unusable) naming id and key. A null value becomes unmeasurable.
[[nodiscard]] Reading reading_from_json(const nlohmann::json& j);

[[nodiscard]] nlohmann::json limit_to_json(const Limit& limit);  ///< min, max, source, detail
[[nodiscard]] Limit limit_from_json(const nlohmann::json& j);    ///< errors as reading_from_json()

}  // namespace linebench
