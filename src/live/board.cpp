#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <ctime>
#include <limits>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/error.hpp>
#include <linebench/live/board.hpp>
#include <linebench/report/format.hpp>
#include <map>
#include <mutex>

namespace linebench::live {
namespace {

// What a history is kept of; a channel's suffix may follow.
constexpr const char* tracked[] = {"audio.level.rms", "audio.hum.level", "picture.hum.level",
                                   "picture.noise"};

bool is_tracked(const std::string& id) {
  return std::ranges::any_of(tracked, [&](const char* t) { return id.starts_with(t); });
}

// The highest sample of a moment and what is counted in it are known exactly, and differ from moment to
// moment all the same.
bool of_one_moment(const std::string& id) {
  static constexpr const char* moments[] = {"audio.level.peak", "audio.level.crest", "audio.click.count",
                                            "audio.clip.samples", "audio.dropout.count"};
  return std::ranges::any_of(moments, [&](const char* m) { return id.starts_with(m); });
}

bool is_number(const Reading& r) { return std::holds_alternative<double>(r.value); }

// No escapes on the terminal, no line breaks in a list. Bytes above 127 stay: they are UTF-8.
std::string tidy(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
      if (!out.empty() && out.back() != ' ') out += ' ';
    } else {
      out += c;
    }
  }
  if (out.size() > longest_mark) {
    std::size_t cut = longest_mark;
    while (cut > 0 && (static_cast<unsigned char>(out[cut]) & 0xC0U) == 0x80U) --cut;  // not inside a letter
    out.resize(cut);
  }
  while (!out.empty() && out.back() == ' ') out.pop_back();
  return out;
}

// Fixed length; what was before the first value is NaN.
struct Ring {
  std::vector<double> values = std::vector<double>(history_points, std::numeric_limits<double>::quiet_NaN());
  std::size_t at = 0;
  void add(double v) {
    values[at] = v;
    at = (at + 1) % values.size();
  }
  [[nodiscard]] std::vector<double> ordered() const {
    std::vector<double> out(values.begin() + static_cast<std::ptrdiff_t>(at), values.end());
    out.insert(out.end(), values.begin(), values.begin() + static_cast<std::ptrdiff_t>(at));
    return out;
  }
};

}  // namespace

struct Board::Impl {
  explicit Impl(MarkKeeper k) : keeper(std::move(k)) {}

  // Everything below wants the lock held.
  void changed() {
    ++now.number;
    if (!now.marks.empty()) now.differences = differences(now.marks.back()->readings, now.readings);
  }

  void join() {
    now.readings = audio;
    now.readings.insert(now.readings.end(), picture.begin(), picture.end());
    now.state = "running";
    for (const Reading& r : now.readings) {
      if (!is_number(r)) continue;
      const auto [it, fresh] = spans.try_emplace(r.id, Span{r.id, r.number(), r.number()});
      it->second.lowest = std::min(it->second.lowest, r.number());
      it->second.highest = std::max(it->second.highest, r.number());
    }
    remember();
    changed();
  }

  void remember() {
    if (now.time_s < next_history_s) return;
    // After a long pause (a held source) the clock is followed, not the pause filled.
    next_history_s = now.time_s + history_step_s;
    for (const Reading& r : now.readings) {
      if (is_tracked(r.id)) (void)tracks.try_emplace(r.id);
    }
    for (auto& [id, ring] : tracks) {
      const Reading* r = find_reading(now.readings, id);
      ring.add(r != nullptr && is_number(*r) ? r->number() : std::numeric_limits<double>::quiet_NaN());
    }
  }

  [[nodiscard]] const Snapshot& shown() const { return held ? *held : now; }

  MarkKeeper keeper;
  mutable std::mutex lock;
  Snapshot now;
  std::unique_ptr<Snapshot> held;
  Readings audio, picture;
  std::map<std::string, Ring> tracks;
  std::map<std::string, Span> spans;
  double next_history_s = 0;
  bool has_audio = false;
};

Board::Board(MarkKeeper keeper) : impl_(std::make_unique<Impl>(std::move(keeper))) {}
Board::~Board() = default;

void Board::begin(const CaptureFacts& input) {
  const std::scoped_lock guard(impl_->lock);
  if (impl_->has_audio) return;  // the frames' facts do not hide the audio's
  impl_->has_audio = input.kind != "frames";
  impl_->now.input = input;
  impl_->changed();
}

void Board::publish(const AudioView& view) {
  auto spectra = std::make_shared<const std::vector<Curve>>(view.spectra);
  const std::scoped_lock guard(impl_->lock);
  impl_->audio = view.readings;
  impl_->now.spectra = std::move(spectra);
  impl_->now.time_s = view.time_s;
  impl_->join();
}

void Board::publish(const PictureView& view) {
  auto thumbnail = std::make_shared<const Thumbnail>(view.thumbnail);
  const std::scoped_lock guard(impl_->lock);
  impl_->picture = view.readings;
  impl_->now.picture = std::move(thumbnail);
  if (!impl_->has_audio) impl_->now.time_s = view.time_s;
  impl_->join();
}

void Board::say(const std::string& note) {
  const std::scoped_lock guard(impl_->lock);
  impl_->now.note = note;
  impl_->changed();
}

void Board::end(const std::string& note) {
  const std::scoped_lock guard(impl_->lock);
  impl_->now.state = "ended";
  if (!note.empty()) impl_->now.note = note;
  impl_->changed();
}

Snapshot Board::look() const {
  const std::scoped_lock guard(impl_->lock);
  return impl_->shown();
}

Snapshot Board::newest() const {
  const std::scoped_lock guard(impl_->lock);
  return impl_->now;
}

std::vector<Track> Board::history() const {
  const std::scoped_lock guard(impl_->lock);
  std::vector<Track> out;
  for (const auto& [id, ring] : impl_->tracks) out.push_back({id, ring.ordered()});
  return out;
}

std::vector<Span> Board::spans() const {
  const std::scoped_lock guard(impl_->lock);
  std::vector<Span> out;
  for (const Reading& r : impl_->now.readings) {
    if (const auto it = impl_->spans.find(r.id); it != impl_->spans.end()) out.push_back(it->second);
  }
  return out;
}

void Board::hold(bool on) {
  const std::scoped_lock guard(impl_->lock);
  if (on == (impl_->held != nullptr)) return;
  impl_->changed();
  if (!on) {
    impl_->held.reset();
    return;
  }
  impl_->held = std::make_unique<Snapshot>(impl_->now);
  impl_->held->held = true;
}

Mark Board::mark(const std::string& text) {
  const std::scoped_lock guard(impl_->lock);
  if (impl_->now.marks.size() >= most_marks) {
    throw bad_usage(fmt::format("{} marks are there, no more are kept; start anew", most_marks));
  }
  const Snapshot& shown = impl_->shown();
  Mark m{.number = static_cast<int>(impl_->now.marks.size()) + 1,
         .text = tidy(text),
         .time_s = shown.time_s,
         .at = fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::time(nullptr))),
         .readings = shown.readings,
         .stored = {}};
  if (m.text.empty()) m.text = fmt::format("mark {}", m.number);
  if (impl_->keeper) {
    try {
      m.stored = impl_->keeper(m, impl_->now.input);
    } catch (const Error& e) {
      m.stored = fmt::format("not stored: {}", e.what());
    }
  }
  impl_->now.marks.push_back(std::make_shared<const Mark>(m));
  impl_->spans.clear();
  impl_->changed();
  if (impl_->held) {
    impl_->held->marks = impl_->now.marks;
    impl_->held->number = impl_->now.number;
    impl_->held->differences = differences(m.readings, impl_->held->readings);
  }
  return m;
}

namespace {

// What was measured once and is bounded the other time may be the same both times.
bool hidden_by_bound(const Reading& measured, const Reading& bounded) {
  return is_number(measured) && !bounded.measured() && bounded.at_most &&
         measured.number() - measured.uncertainty.value_or(0.0) <= *bounded.at_most;
}

}  // namespace

std::vector<Difference> differences(const Readings& before, const Readings& now) {
  std::vector<Difference> out;
  for (const Reading& r : now) {
    const Reading* b = find_reading(before, r.id);
    if (b == nullptr) continue;
    Difference d{.id = r.id, .label = r.label, .unit = report::difference_unit(r.unit), .words = {}};
    if (is_number(r) && is_number(*b)) {
      d.before = b->number();
      d.now = r.number();
      d.difference = d.now - d.before;
      d.uncertainty = std::hypot(b->uncertainty.value_or(0.0), r.uncertainty.value_or(0.0));
      // What a person would see as no difference is none.
      const ReadingKind* kind = find_kind(r.id);
      const double visible = 0.5 * std::pow(10.0, kind != nullptr ? -kind->decimals : 0);
      d.certain = !of_one_moment(r.id) && std::abs(d.difference) > std::max(d.uncertainty, visible);
      out.push_back(std::move(d));
      continue;
    }
    const auto word = [](const Reading& x) -> std::string {
      const std::string shown = report::show_value(x).value;
      return shown == "-" ? "not measurable" : shown;
    };
    const bool both_bounds = !b->measured() && !r.measured();
    if (both_bounds || word(*b) == word(r)) continue;
    d.certain = !hidden_by_bound(*b, r) && !hidden_by_bound(r, *b);
    d.words = word(*b) + " -> " + word(r);
    out.push_back(std::move(d));
  }
  return out;
}

}  // namespace linebench::live
