#include "video_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <linebench/base/catalogue.hpp>

namespace linebench::measure {
namespace {

// The picture by name, and what else was seen on which lines.
Reading pattern_reading(const std::vector<KnownLine>& known) {
  const KnownLine* main = nullptr;
  std::string others;
  for (const KnownLine& k : known) {
    if (k.name.empty()) continue;
    if (main == nullptr && !k.content->field_interval) {
      main = &k;
      continue;
    }
    if (k.content->field_interval && k.name == "black") continue;
    std::string where;
    if (k.content->numbers.size() <= 4 && k.content->numbers.begin()->first > 0) {
      for (const auto& [line, count] : k.content->numbers)
        where += fmt::format("{}{}", where.empty() ? " on line " : ", ", line);
    } else {
      where = fmt::format(" on {} lines", k.content->lines);
    }
    others += fmt::format("{}{}{}", others.empty() ? "also: " : "; ", k.name, where);
  }
  if (main != nullptr) return text_reading("video.pattern", main->name, others);
  return text_reading("video.pattern", others.empty() ? "none" : "test lines only",
                      others.empty() ? "no test picture was recognised" : others);
}

}  // namespace

void PictureMeter::finish(const VideoSetup& setup, Readings& out) {
  content_.finish(setup, out);
  known_ = know_lines(content_, setup);
  out.push_back(pattern_reading(known_));
}

}  // namespace linebench::measure
