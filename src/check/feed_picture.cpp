#include "feed_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "readings.hpp"

namespace linebench::check {
namespace {

using report::Point;
using report::Weight;

bool fails(const job::Capture& c, std::string_view id) {
  return std::any_of(c.readings.begin(), c.readings.end(),
                     [&](const Reading& r) { return r.id == id && r.verdict == Verdict::Fail; });
}

std::string word(const job::Capture& c, std::string_view id) {
  const Reading* r = find_reading(c.readings, id);
  return r != nullptr && r->measured() ? r->text() : "";
}

bool short_look(const job::Capture& c) {
  return c.facts.kind == "frames" && c.facts.duration_s() < 0.98 * picture_look_s;
}

// Black and white is right for some sources and a broken encoder in others: the customer was asked which.
bool add_colourless(const Work& work, const job::Capture& picture, const Words& words,
                    std::vector<Point>& points) {
  const std::string seen = colourless(picture);
  if (seen.empty()) return false;
  const std::string* colour = work.answer("feed.colour");
  const bool wanted = colour != nullptr && *colour == "yes";
  const bool shown = seen == "waveform";
  const std::string key = !wanted ? "feed-grey" : shown ? "feed-no-burst" : "feed-no-chroma";
  // The burst of lines that do not keep their time is not found either.
  if (wanted && fails(picture, "video.sync.jitter")) {
    points.push_back(
        {Weight::Note, words.text("feed-burst-hidden"), "", words.text("feed-burst-hidden-do"), ""});
    return true;
  }
  points.push_back({wanted && shown ? Weight::Change : Weight::Note, words.text(key), "",
                    wanted ? words.text(key + "-do") : "", ""});
  return wanted && !shown;
}

// A grabber takes in either system and makes a whole picture of it; the installation's monitors do not.
void add_other_system(const Work& work, const job::Capture& picture, const Words& words,
                      std::vector<Point>& points) {
  const std::string* wanted = work.answer("feed.system");
  const std::string found = word(picture, "picture.system");
  if (wanted == nullptr || found.empty() || wanted->starts_with(found)) return;
  const Values values = {{"found", found}, {"wanted", wanted->substr(0, 3)}};
  const Advice* a = words.advice("video.system", "");
  Point p{.weight = Weight::Stop, .what = words.text("feed-other-system", values)};
  if (a != nullptr) p.why = Words::filled(a->why, {{"value", found}});
  p.action = words.text("feed-other-system-do", values);
  points.push_back(std::move(p));
}

// Programme whose fields were swapped on the way: each frame is whole when it stands still.
void add_field_order(const job::Capture& picture, const Words& words, std::vector<Point>& points) {
  if (word(picture, "picture.field_order.kept") != "no") return;
  points.push_back({Weight::Change, words.text("feed-field-order"), words.text("feed-field-order-why"),
                    words.text("feed-field-order-do"), ""});
}

}  // namespace

bool hum_or_sag(const job::Capture& picture, const std::string& id) {
  if (id != "video.hum.level") return false;
  const Reading* hum = find_reading(picture.readings, "video.hum.frequency");
  const Reading* field = find_reading(picture.readings, "video.field.frequency");
  if (hum == nullptr || field == nullptr || !hum->measured() || !field->measured()) return false;
  const double times = std::max(1.0, std::round(hum->number() / field->number()));
  return std::abs(hum->number() - times * field->number()) <= 2 * hum->uncertainty.value_or(0.0);
}

bool too_short_for(const job::Capture& picture, const std::string& id) {
  return id == "picture.hum.level" && short_look(picture);
}

bool add_picture(const Work& work, const job::Capture& picture, const Knowledge& k,
                 std::vector<Point>& points) {
  bool open = false;
  const auto leave_open = [&](const std::string& what, const std::string& action) {
    points.push_back({Weight::Note, what, "", action, ""});
    open = true;
  };
  add_other_system(work, picture, k.words, points);
  add_field_order(picture, k.words, points);
  for (const diagnose::Gap& g : left_open(k, picture)) leave_open(g.text + ".", g.how);
  if (fails(picture, "picture.hum.level") && short_look(picture)) {
    const Values seconds = {{"seconds", fmt::format("{:.1f}", picture.facts.duration_s())}};
    leave_open(k.words.text("feed-short-picture", seconds), k.words.text("feed-short-picture-do"));
  }
  const Reading* white = find_reading(picture.readings, "video.white");
  if (word(picture, "video.signal") == "present" && white != nullptr && !white->measured())
    leave_open(k.words.text("feed-no-white", {{"reason", white->reason}}), k.words.text("feed-no-white-do"));
  if (word(picture, "picture.signal") == "present")
    leave_open(k.words.text("feed-grabber-hides"), k.words.text("feed-grabber-hides-do"));
  return add_colourless(work, picture, k.words, points) || open;
}

}  // namespace linebench::check
