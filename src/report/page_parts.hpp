// Pieces of which pages are made: the frame, one capture's section, the table in front.
#pragma once

#include <linebench/report/page.hpp>
#include <linebench/report/view.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::report {

/// The whole page round a body that is HTML already.
[[nodiscard]] std::string page_frame(const PageHead& head, const std::string& body);

/// A heading within a section. @param words HTML.
[[nodiscard]] std::string heading(const char* words);

/// Escaped text whose option names (`--limits`) are kept whole at a line's end: browsers break after a
/// hyphen.
[[nodiscard]] std::string prose(std::string_view text);

/// A paragraph of the style sheet's class `style`, its title in bold; empty for an empty text.
/// @param title HTML. @param text is escaped here.
[[nodiscard]] std::string paragraph(const char* style, const char* title, const std::string& text);

/// A table of all captures with links to their sections, numbered from 0; empty for fewer than two.
[[nodiscard]] std::string summary_html(const std::vector<PageSection>& sections,
                                       const std::vector<View>& views);

/// Of one capture on a page: on a sheet of its own with all its readings; what was judged, with plots or
/// without.
enum class Depth { Whole, Judged, Brief };

/// One capture: verdict, problems, plots, readings, gaps.
[[nodiscard]] std::string section_html(const PageSection& section, const View& view, std::size_t index,
                                       Depth depth = Depth::Whole);

}  // namespace linebench::report
