// The report as one self-contained page: HTML with inline styles and inline SVG plots, no scripts, nothing
// fetched. It prints on A4 and Letter, follows the reader's light or dark setting and keeps WCAG AA contrast
// in both.
#pragma once

#include <linebench/measure/picture.hpp>
#include <linebench/measure/traces.hpp>
#include <linebench/measure/video_traces.hpp>
#include <linebench/report/document.hpp>
#include <optional>
#include <string>
#include <vector>

namespace linebench::report {

/// One measured capture on a page.
struct PageSection {
  Document document;
  std::vector<measure::ChannelTraces> traces{};     ///< one a channel, for the plots; may be empty
  std::optional<measure::VideoTraces> video{};      ///< of composite samples, for their pictures
  std::optional<measure::PictureTraces> picture{};  ///< of frames; for the picture's figures
  std::vector<std::uint8_t> thumbnail{};            ///< PNG file of thumbnail(*picture); may be empty
  std::string title{};                              ///< a person's name for it; empty: the input's source
  std::string story{};                              ///< a sentence under the title; may be empty
};

struct PageHead {
  std::string title = "Measurement report";
  std::string intro{};    ///< a paragraph under the title; may be empty
  std::string made_at{};  ///< shown at the foot; empty: left out
  bool all = false;       ///< list every reading, each hum harmonic too
  std::string paper{};    ///< to print on: "a4", "letter"; empty: the browser's own
  std::string lead{};     ///< a ready section (HTML, already escaped) before all others, e.g. the diagnosis
};

/// A frame made small for a page: BT.601 codes to full-range RGB, at half size in both directions.
struct Thumbnail {
  int width = 0;
  int height = 0;
  std::vector<std::uint8_t> bgr;  ///< packed, rows from the top
};
[[nodiscard]] Thumbnail thumbnail(const measure::PictureTraces& picture);

/// The whole page. Everything that comes from outside (names, notes, reasons) is escaped.
/// One section makes a capture's report; several get a summary table with links in front.
[[nodiscard]] std::string html_page(const PageHead& head, const std::vector<PageSection>& sections);

/// Text made safe inside HTML elements and quoted attributes; control characters are replaced.
[[nodiscard]] std::string escaped(std::string_view text);

}  // namespace linebench::report
