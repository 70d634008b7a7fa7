#include <linebench/base/json_text.hpp>
#include <nlohmann/json.hpp>

namespace linebench {

std::string json_text(const nlohmann::json& j, int indent) {
  return j.dump(indent, ' ', false, nlohmann::json::error_handler_t::replace);
}

}  // namespace linebench
