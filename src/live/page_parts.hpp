// The parts the live page is put together from.
#pragma once

#include <string>
#include <string_view>

namespace linebench::live {

extern const std::string_view page_style;
extern const std::string_view page_script;
extern const std::string_view code_script;

/// The page that asks for the one-time code, and shows nothing else.
[[nodiscard]] const std::string& code_page();

}  // namespace linebench::live
