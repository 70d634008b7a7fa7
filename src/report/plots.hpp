// The audio report's plots.
#pragma once

#include <linebench/report/page.hpp>
#include <string>

namespace linebench::report {

/// All plots that the section's readings and traces can fill, as figures; empty when there are none.
/// @param id_prefix unique on the page.
[[nodiscard]] std::string plots_html(const PageSection& section, const std::string& id_prefix);

}  // namespace linebench::report
