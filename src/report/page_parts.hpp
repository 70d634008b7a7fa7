// Pieces of which pages are made: the frame, one capture's section, the table in front.
#pragma once

#include <linebench/report/page.hpp>
#include <linebench/report/view.hpp>
#include <string>
#include <vector>

namespace linebench::report {

/// The whole page round a body that is HTML already.
[[nodiscard]] std::string page_frame(const PageHead& head, const std::string& body);

/// A table of all captures with links to their sections, numbered from 0; empty for fewer than two.
[[nodiscard]] std::string summary_html(const std::vector<PageSection>& sections,
                                       const std::vector<View>& views);

/// One capture: verdict, problems, plots, readings, gaps.
[[nodiscard]] std::string section_html(const PageSection& section, const View& view, std::size_t index);

}  // namespace linebench::report
