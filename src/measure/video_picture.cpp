#include "video_picture.hpp"

#include <fmt/format.h>

#include "append.hpp"

namespace linebench::measure {
namespace {

// The picture by name, and what else was seen on which lines.
Reading pattern_reading(const std::vector<KnownLine>& known, bool field_wave) {
  const KnownLine* main = nullptr;
  std::string others;
  double lines = 0;
  for (const KnownLine& k : known) lines += k.content->field_interval ? 0 : k.content->lines;
  int kinds = 0;  // besides the first, each on a good part of the picture
  for (const KnownLine& k : known) {
    if (k.name.empty() || k.name == "black") continue;
    if (main == nullptr && !k.content->field_interval) {
      main = &k;
      continue;
    }
    // A half line of the picture shows half of what the others do.
    const bool few = k.content->numbers.size() <= 4 && k.content->numbers.begin()->first > 0;
    if (few && !k.content->field_interval) continue;
    if (!few && k.content->lines > 0.04 * lines) ++kinds;
    std::string where;
    if (few) {
      for (const auto& [line, count] : k.content->numbers)
        where += fmt::format("{}{}", where.empty() ? " on line " : ", ", line);
    } else {
      where = fmt::format(" on {} of the lines", k.content->lines);
    }
    others += fmt::format("{}{}{}", others.empty() ? "also: " : "; ", k.name, where);
  }
  if (main != nullptr && kinds >= 3) {
    const std::string first = fmt::format("{} on {} of the lines", main->name, main->content->lines);
    return text_reading("video.pattern", "several test lines, one above another",
                        fmt::format("{}; {}", first, others.substr(others.find(": ") + 2)));
  }
  if (main != nullptr) {
    const bool square = field_wave && main->name == "white field";
    return text_reading("video.pattern", square ? "field square wave" : main->name, others);
  }
  for (const KnownLine& k : known) {
    if (k.name == "black" && !k.content->field_interval)
      return text_reading("video.pattern", "black", others);
  }
  return text_reading("video.pattern", others.empty() ? "none" : "test lines only",
                      others.empty() ? "no test picture was recognised" : others);
}

}  // namespace

const Replicates& KnownLines::replicates_of(const KnownLine& k) const {
  const auto at = made_.find(k.content);
  if (at != made_.end()) return at->second;
  return made_.emplace(k.content, replicates(k.content->sums, noise_mv_)).first->second;
}

void PictureMeter::finish(const VideoSetup& setup, Readings& out) {
  content_.finish(setup, out);
  known_ = KnownLines(content_, setup);
  Readings tilt;
  field_.finish(setup, tilt);
  out.push_back(pattern_reading(known_.all(), field_.wave_seen(setup)));
  read_bars(known_, setup, out);
  read_multiburst(known_, setup, out);
  read_pulse(known_, setup, out);
  read_bar(known_, setup, out);
  append(out, std::move(tilt));
  read_staircase(known_, setup, out);
  read_modulated_pulse(known_, setup, out);
  read_black(known_, setup, out);
  if (sync_.picture_ends_early()) read_early_end(known_, out);
}

}  // namespace linebench::measure
