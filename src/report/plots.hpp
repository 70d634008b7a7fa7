// The audio report's plots.
#pragma once

#include <linebench/report/page.hpp>
#include <string>

namespace linebench::report {

/// All plots that the section's readings and traces can fill, as figures; empty when there are none.
/// @param id_prefix unique on the page.
[[nodiscard]] std::string plots_html(const PageSection& section, const std::string& id_prefix);

/// The figures of frames: the frame with what was found drawn on it, level along the line, spectrum of the
/// row means, track of a roll, multiburst response. section.picture must be there.
[[nodiscard]] std::string picture_figures(const PageSection& section, const std::string& id_prefix);

/// A plot or picture with its title and caption.
[[nodiscard]] std::string figure(const std::string& title, const std::string& svg,
                                 const std::string& caption);

}  // namespace linebench::report
