#include "meter.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <langinfo.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <clocale>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <vector>

#include "say.hpp"

namespace linebench::app {
namespace {

constexpr double floor_dbfs = -60;  // the meter's lower end
constexpr float overdriven = 0.9999F;
constexpr float nearly_silent = 1e-4F;  // -80 dBFS: no line-level source is that quiet

std::string bar(double share, std::size_t cells, bool unicode) {
  const auto full =
      static_cast<std::size_t>(std::lround(std::clamp(share, 0.0, 1.0) * static_cast<double>(cells)));
  std::string text;
  for (std::size_t i = 0; i < cells; ++i) {
    if (unicode) {
      text += i < full ? "█" : "░";
    } else {
      text += i < full ? '#' : '.';
    }
  }
  return text;
}

std::string db_words(double db) { return db > -200 ? fmt::format("{:.1f}", db) : "silent"; }

std::string channel_name(std::size_t channel, std::size_t channels) {
  const std::string suffix = channel_suffix(static_cast<int>(channel), static_cast<int>(channels));
  return suffix.empty() ? "" : suffix.substr(1);
}

MeterStyle style_here() {
  MeterStyle style;
  std::setlocale(LC_CTYPE, "");
  const char* codeset = nl_langinfo(CODESET);
  style.unicode = codeset != nullptr && std::strcmp(codeset, "UTF-8") == 0;
  const char* plain = std::getenv("NO_COLOR");
  style.colour = plain == nullptr || *plain == '\0';
  winsize size{};
  if (ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) style.width = size.ws_col;
  return style;
}

bool can_redraw() {
  const char* term = std::getenv("TERM");
  return isatty(STDERR_FILENO) != 0 && term != nullptr && *term != '\0' && std::strcmp(term, "dumb") != 0;
}

}  // namespace

std::string meter_line(const capture::SessionStatus& s, const MeterStyle& style) {
  constexpr const char* red = "\x1b[31m";
  constexpr const char* plain = "\x1b[0m";
  std::string line = s.total_s > 0
                         ? fmt::format("[{}] {:.0f} of {:.0f} s",
                                       bar(s.done_s / s.total_s, 16, style.unicode), s.done_s, s.total_s)
                         : fmt::format("{:.0f} s", s.done_s);
  std::size_t width = s.total_s > 0 ? line.size() - (style.unicode ? 2 * 16 : 0) : line.size();
  const auto add = [&](const std::string& text, std::size_t columns, bool alarm) {
    if (width + columns + 2 >= style.width) return;  // a wrapped line could not be redrawn
    width += columns + 2;
    line += "  " + (alarm && style.colour ? red + text + plain : text);
  };
  // Alarms first: they must not fall off a narrow terminal.
  if (s.xruns > 0) {
    const std::string gaps = fmt::format("{} {}", s.xruns, s.xruns == 1 ? "gap" : "gaps");
    add(gaps, gaps.size(), true);
  }
  if (s.dropped > 0) add(fmt::format("{} lost", s.dropped), fmt::formatted_size("{} lost", s.dropped), true);
  constexpr std::size_t most_channels = 8;
  const std::size_t channels = std::min(s.levels.size(), most_channels);
  for (std::size_t c = 0; c < channels; ++c) {
    const double rms = dbfs_from_rms(s.levels[c].rms);
    const bool over = s.levels[c].peak >= overdriven;
    const std::string name = s.levels.size() == 1 ? "" : channel_name(c, s.levels.size()) + " ";
    const std::string words = over ? "OVER" : db_words(rms);
    const std::size_t cells = channels <= 2 ? 12 : 4;
    const double share = (std::max(rms, floor_dbfs) - floor_dbfs) / -floor_dbfs;
    add(fmt::format("{}{} {:>6}", name, bar(share, cells, style.unicode), words), name.size() + cells + 7,
        over);
  }
  return line;
}

std::string level_words(const std::vector<capture::ChannelLevel>& levels) {
  if (levels.empty()) return "";
  std::vector<std::string> peaks;
  float highest = 0;
  for (std::size_t c = 0; c < levels.size(); ++c) {
    const std::string name = channel_name(c, levels.size());
    peaks.push_back(db_words(db_from_amplitude(static_cast<double>(levels[c].peak))) +
                    (name.empty() ? "" : " " + name));
    highest = std::max(highest, levels[c].peak);
  }
  std::string words = fmt::format("peak {} (dB re full scale)", fmt::join(peaks, ", "));
  if (highest >= overdriven) words += "; the input was overdriven: lower its level and take it again";
  if (highest < nearly_silent) words += "; next to nothing came in: check cable, input and its level control";
  return words;
}

Meter::Meter() = default;

Meter::~Meter() {
  if (drawn_) say("\r\x1b[K");
}

capture::SessionWatch Meter::watch() {
  if (!can_redraw()) return {};
  return [this, style = style_here()](const capture::SessionStatus& status) {
    drawn_ = true;
    say("\r{}\x1b[K", meter_line(status, style));
  };
}

}  // namespace linebench::app
