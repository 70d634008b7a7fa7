// Several captures on one screen: each with its verdict and its worst finding.
#pragma once

#include <linebench/report/page.hpp>
#include <linebench/report/terminal.hpp>
#include <string>
#include <vector>

namespace linebench::report {

/// A line or two a capture, verdict first; ends with a newline. Widths and colours as terminal_table().
[[nodiscard]] std::string terminal_summary(const std::string& title, const std::vector<PageSection>& sections,
                                           const TerminalStyle& style);

}  // namespace linebench::report
