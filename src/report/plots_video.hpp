// The composite report's plots.
#pragma once

#include <linebench/report/video_pictures.hpp>
#include <string>

namespace linebench::report {

/// The same pictures as figures of the page. @param id_prefix unique on the page.
[[nodiscard]] std::string video_plots_html(const Document& document, const measure::VideoTraces& traces,
                                           const std::string& id_prefix);

}  // namespace linebench::report
