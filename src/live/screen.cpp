#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/live/screen.hpp>
#include <linebench/report/format.hpp>
#include <optional>
#include <span>

namespace linebench::live {
namespace {

using report::show_value;
using report::text_width;

// What a person with a cable in the hand looks at, most wanted first.
constexpr std::array audio_rows = {"audio.signal",       "audio.level.rms",      "audio.hum.level",
                                   "audio.hum.kind",     "audio.hum.frequency",  "audio.level.peak",
                                   "audio.clip.samples", "audio.tone.frequency", "audio.tone.level",
                                   "audio.snr",          "audio.thd_n",          "audio.noise.unweighted"};
constexpr std::array picture_rows = {"picture.signal", "picture.hum.level", "picture.hum.frequency",
                                     "picture.noise",  "picture.snr",       "picture.roll",
                                     "picture.jitter", "picture.colour",    "picture.pattern"};

std::string cell(const Reading& r) {
  const report::Shown v = show_value(r);
  std::string out = v.value;
  if (!v.uncertainty.empty()) out += " \u00b1" + v.uncertainty;
  if (!v.unit.empty()) out += " " + v.unit;
  return out;
}

std::string cut(const std::string& text, std::size_t width) {
  std::string out;
  std::size_t used = 0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t n =
        std::max<std::size_t>(1, report::character_length(std::string_view(text).substr(at)));
    const std::string one = text.substr(at, n);
    const std::size_t w = text_width(one);
    if (used + w > width) break;
    out += one;
    used += w;
    at += n;
  }
  return out;
}

// In the order that keeps the width: a stand-in may be wider than what it stands for.
std::string fitted(const std::string& line, std::size_t width, bool unicode) {
  const std::string safe = report::printable(line);
  return cut(unicode ? safe : report::to_ascii(safe), width);
}

std::string padded(const std::string& text, std::size_t width) {
  std::string out = cut(text, width);
  out.append(width - std::min(width, text_width(out)), ' ');
  return out;
}

std::string clock(double s) {
  const auto tenths = static_cast<long>(std::floor(s * 10));
  return fmt::format("{}:{:02}.{}", tenths / 600, tenths / 10 % 60, tenths % 10);
}

struct Row {
  std::string id, label;
  std::vector<const Reading*> cells;  // one a channel
};

std::vector<Row> rows_of(const Snapshot& s) {
  std::vector<Row> rows;
  const auto add = [&](const char* id, int channels) {
    Row row{id, {}, {}};
    for (int c = 0; c < std::max(1, channels); ++c) {
      const Reading* r = find_reading(s.readings, id + channel_suffix(c, channels));
      if (r != nullptr) row.cells.push_back(r);
    }
    if (row.cells.empty()) return;
    row.label = label_of(id);
    rows.push_back(std::move(row));
  };
  int channels = 0;
  while (channels < 8 && find_reading(s.readings, "audio.level.rms" + channel_suffix(channels, 3)) != nullptr)
    ++channels;
  if (channels == 0 && find_reading(s.readings, "audio.level.rms.left") != nullptr) channels = 2;
  if (channels == 0 && find_reading(s.readings, "audio.level.rms") != nullptr) channels = 1;
  for (const char* id : audio_rows) add(id, channels);
  for (const char* id : picture_rows) add(id, 1);
  // Of a tone that is not there six lines would say so.
  std::erase_if(rows, [](const Row& row) {
    const bool of_tone = row.id.starts_with("audio.tone") || row.id == "audio.snr" || row.id == "audio.thd_n";
    return of_tone && std::ranges::none_of(row.cells, [](const Reading* r) { return r->measured(); });
  });
  return rows;
}

const Difference* difference_of(const Snapshot& s, const std::string& id) {
  const auto it = std::ranges::find(s.differences, id, &Difference::id);
  return it != s.differences.end() ? &*it : nullptr;
}

// "+3.2", an exclamation mark where it is certain.
std::string change_words(const Snapshot& s, const Reading& r) {
  const Difference* d = difference_of(s, r.id);
  if (d == nullptr) return {};
  if (!d->words.empty()) return d->words + " !";
  const ReadingKind* kind = find_kind(r.id);
  const std::string text = fmt::format("{:+.{}f}", d->difference, kind != nullptr ? kind->decimals : 2);
  return text + (d->certain ? " !" : "");
}

// A level as a bar from -80 to 0 dBFS.
std::string bar(double dbfs, std::size_t width) {
  const double share = std::clamp((dbfs + 80) / 80, 0.0, 1.0);
  const auto full = static_cast<std::size_t>(std::lround(share * static_cast<double>(width)));
  return std::string(full, '#') + std::string(width - full, '.');
}

// The last minute in one line.
std::string trend(const Track& t, std::size_t width, bool unicode) {
  static constexpr std::array blocks = {"\u2581", "\u2582", "\u2583", "\u2584",
                                        "\u2585", "\u2586", "\u2587", "\u2588"};
  static constexpr std::string_view plain = "_.-=+*%#";
  double low = 1e9, high = -1e9;
  const std::size_t n = std::min(t.values.size(), static_cast<std::size_t>(60 / history_step_s));
  const std::span<const double> values = std::span(t.values).last(n);
  for (const double v : values) {
    if (!std::isfinite(v)) continue;
    low = std::min(low, v);
    high = std::max(high, v);
  }
  if (high < low) return {};
  const double range = std::max(high - low, 3.0);  // noise of a steady reading stays flat
  std::string out;
  width = std::min(width, n);
  for (std::size_t i = 0; i < width; ++i) {
    double most = -1e9;
    for (std::size_t k = i * n / width; k < (i + 1) * n / width; ++k)
      if (std::isfinite(values[k])) most = std::max(most, values[k]);
    if (most < -1e8) {
      out += ' ';
      continue;
    }
    const auto step = static_cast<std::size_t>(std::clamp((most - low) / range * 7, 0.0, 7.0));
    if (unicode)
      out += blocks[step];
    else
      out += plain[step];
  }
  return out;
}

class Screen {
 public:
  Screen(const Snapshot& s, const ScreenStyle& style) : s_(s), style_(style) {
    style_.width = std::max<std::size_t>(style.width, 20);
  }

  std::vector<std::string> lines(const std::vector<Track>& history, const std::string& prompt) {
    head();
    const std::vector<Row> rows = rows_of(s_);
    const std::size_t cells = most_cells(rows);
    if (style_.width >= 30 + 22 * cells) {
      table(rows, cells);
    } else {
      listed(rows);
    }
    levels();
    trends(history);
    marks();
    const std::size_t room = std::max<std::size_t>(style_.height, 2) - 1;
    if (out_.size() > room) out_.resize(room);
    put(prompt.empty() ? "q end   h hold   m mark" : prompt);
    return std::move(out_);
  }

 private:
  void put(const std::string& line) { out_.push_back(fitted(line, style_.width, style_.unicode)); }
  static std::size_t most_cells(const std::vector<Row>& rows) {
    std::size_t n = 1;
    for (const Row& r : rows) n = std::max(n, r.cells.size());
    return n;
  }

  void head() {
    const std::string state = s_.held ? "HELD" : s_.state == "running" ? "" : s_.state;
    put(fmt::format("{}  {}{}{}", clock(s_.time_s), s_.input.source, state.empty() ? "" : "  ", state));
    if (!s_.note.empty()) put(s_.note);
  }

  // Label, a column a channel, and what changed since the mark.
  void table(const std::vector<Row>& rows, std::size_t cells) {
    const std::size_t label = 20;
    const std::size_t rest = style_.width - label;
    const bool marked = !s_.marks.empty();
    const std::size_t column = std::min<std::size_t>(rest / (marked ? cells + 1 : cells), 28);
    if (cells > 1 || marked) {
      std::string line = padded("", label);
      for (std::size_t c = 0; c < cells; ++c)
        line += padded(
            cells == 1 ? "now" : channel_suffix(static_cast<int>(c), static_cast<int>(cells)).substr(1),
            column);
      if (marked) line += "since mark " + std::to_string(s_.marks.back()->number);
      put(line);
    }
    for (const Row& row : rows) {
      std::string line = padded(row.label, label);
      for (const Reading* r : row.cells) line += padded(cell(*r), column - 1) + " ";
      if (marked) {
        line += padded("", (cells - row.cells.size()) * column);
        for (const Reading* r : row.cells) line += padded(change_words(s_, *r), 11);
      }
      put(line);
    }
  }

  // Too narrow for columns: a line each.
  void listed(const std::vector<Row>& rows) {
    for (const Row& row : rows) {
      for (const Reading* r : row.cells) {
        std::string side;
        if (row.cells.size() > 1) side = r->id.substr(row.id.size() + 1, 1) + " ";
        const std::string change = change_words(s_, *r);
        put(fmt::format("{}{}: {}{}{}", side, row.label, cell(*r), change.empty() ? "" : "  ", change));
      }
    }
  }

  void levels() {
    for (const Reading& r : s_.readings) {
      if (!r.id.starts_with("audio.level.rms") || !r.measured()) continue;
      const std::string side = r.id.size() > 15 ? r.id.substr(16, 5) : "level";
      put(fmt::format("{} {}", padded(side, 6),
                      bar(r.number(), std::min<std::size_t>(style_.width - 8, 60))));
    }
  }

  void trends(const std::vector<Track>& history) {
    for (const Track& t : history) {
      if (!t.id.starts_with("audio.hum.level") && !t.id.starts_with("picture.hum.level")) continue;
      const std::string line = trend(t, std::min<std::size_t>(style_.width - 12, 60), style_.unicode);
      if (line.empty()) continue;
      std::string what = "hum";
      if (t.id.starts_with("picture"))
        what += " picture";
      else if (t.id.size() > 15)
        what.append(" ").append(t.id, 16);
      put(padded(what, 12).append(line).append("  1 min"));
    }
  }

  void marks() {
    const std::size_t n = s_.marks.size();
    for (std::size_t i = n > 3 ? n - 3 : 0; i < n; ++i) {
      const Mark& m = *s_.marks[i];
      put(fmt::format("mark {} at {}: {}{}{}", m.number, clock(m.time_s), m.text,
                      m.stored.empty() ? "" : "; ", m.stored));
    }
  }

  const Snapshot& s_;
  ScreenStyle style_;
  std::vector<std::string> out_;
};

}  // namespace

std::vector<std::string> screen_lines(const Snapshot& s, const std::vector<Track>& history,
                                      const ScreenStyle& style, const std::string& prompt) {
  return Screen(s, style).lines(history, prompt);
}

std::string log_line(const Snapshot& s) {
  std::string out = fmt::format("{:.1f} s", s.time_s);
  for (const Row& row : rows_of(s)) {
    const bool wanted = row.id == "audio.level.rms" || row.id == "audio.hum.level" || row.id == "audio.snr" ||
                        row.id == "picture.signal" || row.id == "picture.hum.level" ||
                        row.id == "picture.noise";
    if (!wanted) continue;
    out += fmt::format("  {}", row.label);
    for (const Reading* r : row.cells) out += " " + cell(*r);
    out += ";";
  }
  if (out.ends_with(';')) out.pop_back();
  return report::printable(out);
}

std::string summary_text(const Board& board, std::size_t width, bool unicode) {
  const Snapshot s = board.newest();
  std::string out;
  const auto put = [&](const std::string& line) {
    out += fitted(line, std::max<std::size_t>(width, 20), unicode) + "\n";
  };
  put(fmt::format("watched {} for {}", s.input.source, report::show_duration(s.time_s)));
  if (!s.note.empty()) put(s.note);
  const auto spans = board.spans();
  for (const Row& row : rows_of(s)) {
    for (const Reading* r : row.cells) {
      const auto span = std::ranges::find(spans, r->id, &Span::id);
      std::string line = fmt::format("{}: {}", label_of(r->id), cell(*r));
      if (span != spans.end() && span->lowest < span->highest) {
        Reading low = *r, high = *r;
        low.value = span->lowest;
        high.value = span->highest;
        low.uncertainty = high.uncertainty = r->uncertainty;
        line += fmt::format(" ({} to {}{})", show_value(low).value, show_value(high).value,
                            s.marks.empty() ? "" : " since the last mark");
      }
      put(line);
    }
  }
  for (const auto& m : s.marks) {
    put(fmt::format("mark {} at {}: {}{}{}", m->number, clock(m->time_s), m->text,
                    m->stored.empty() ? "" : "; ", m->stored));
    for (const Difference& d : differences(m->readings, s.readings)) {
      const bool seen = std::ranges::any_of(rows_of(s), [&](const Row& row) {
        return std::ranges::any_of(row.cells, [&](const Reading* r) { return r->id == d.id; });
      });
      if (!seen || !d.certain) continue;
      const Reading* r = find_reading(s.readings, d.id);
      put(d.words.empty() ? fmt::format("  {}: {:+.2f} {} since (\u00b1{:.2f})", r->label, d.difference,
                                        d.unit, d.uncertainty)
                          : fmt::format("  {}: {}", r->label, d.words));
    }
  }
  return out;
}

}  // namespace linebench::live
