#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/audio_source.hpp>
#include <linebench/base/catalogue.hpp>
#include <linebench/base/decibel.hpp>
#include <linebench/base/error.hpp>
#include <linebench/check/soak.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/events.hpp>
#include <vector>

#include "soak_drift.hpp"

namespace linebench::check {
namespace {

constexpr std::size_t most_times = 500;
// A tone this far under where it was is gone, not quieter (common practice: 20 dB is inaudible beside it).
constexpr double gone_db = 20;
constexpr double loss_block_s = 0.1;
constexpr double least_loss_s = 1;
constexpr double least_last_loss_s = 3;  // a recording may hold the end of what was sent
// A path's delay and a tone's start are over by then.
constexpr double shortest_signal_s = 2;

class WindowSource final : public AudioSource {
 public:
  WindowSource(std::span<const float> samples, double rate_hz, int channels, const std::string& signal)
      : rest_(samples) {
    facts_.kind = "sound device";
    facts_.sample_rate_hz = rate_hz;
    facts_.channels = channels;
    facts_.frames = samples.size() / static_cast<std::size_t>(channels);
    facts_.signal = signal;
  }
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  std::size_t read(std::span<float> out) override {
    const std::size_t n = std::min(out.size(), rest_.size());
    std::copy_n(rest_.begin(), n, out.begin());
    rest_ = rest_.subspan(n);
    return n / static_cast<std::size_t>(facts_.channels);
  }

 private:
  std::span<const float> rest_;
  CaptureFacts facts_;
};

// What one channel has come to.
struct Tally {
  double clicks = 0, dropouts = 0, clipped = 0, crackles = 0;
  Curve click_times{{}, {}, "s", "of full scale", {}};
  Curve dropout_times{{}, {}, "s", "s long", {}};
  Curve crackle_times{{}, {}, "s", "dB re the tone", {}};
  std::optional<double> tone_dbfs;  // of the window before
  std::optional<double> first_dbfs;
  double step_db = 0, step_at_s = 0;
  SlowChange slow;
  bool gone = false;
  std::optional<double> lost_from_s;  // since when it has been far under its first level
  std::vector<double> dropouts_near;  // times of dropouts of this window and the one before
  bool lost_in_window = false;
};

std::optional<double> number(const Readings& readings, const std::string& id) {
  const Reading* r = find_reading(readings, id);
  if (r == nullptr) return std::nullopt;
  const auto* v = std::get_if<double>(&r->value);
  return v != nullptr ? std::optional<double>(*v) : std::nullopt;
}

}  // namespace

std::string soak_time(double seconds) {
  const auto whole = static_cast<std::uint64_t>(seconds);
  return fmt::format("{:02}:{:02}:{:04.1f}", whole / 3600, whole / 60 % 60,
                     std::floor(10 * (seconds - 60.0 * static_cast<double>(whole / 60))) / 10);
}

struct Soak::Impl {
  double rate_hz;
  int channels;
  SoakOptions options;
  std::function<void(const SoakEvent&)> told;
  std::vector<float> held;        // overlap and what came since
  std::uint64_t first_frame = 0;  // of `held`, from the start
  std::uint64_t pushed = 0;
  std::vector<Tally> tallies;

  [[nodiscard]] std::size_t frames(double seconds) const {
    return static_cast<std::size_t>(std::lround(seconds * rate_hz));
  }
  [[nodiscard]] std::size_t samples(double seconds) const {
    return frames(seconds) * static_cast<std::size_t>(channels);
  }

  void tell(const SoakEvent& e) const {
    if (told) told(e);
  }

  // Events of a times curve that belong to this window: those nearer to its middle than to its neighbour's.
  template <typename Keep>
  void events(const Readings& readings, const std::string& id, double from_s, double to_s, Keep keep) const {
    const Reading* r = find_reading(readings, id);
    const auto* curve = r != nullptr ? std::get_if<Curve>(&r->value) : nullptr;
    if (curve == nullptr) return;
    const double start_s = static_cast<double>(first_frame) / rate_hz;
    for (std::size_t i = 0; i < curve->x.size(); ++i) {
      if (curve->x[i] >= from_s && curve->x[i] < to_s) keep(start_s + curve->x[i], curve->y[i]);
    }
  }

  // Of all that is held in these frames.
  [[nodiscard]] double level_dbfs(int channel, std::size_t from, std::size_t n) const {
    const auto stride = static_cast<std::size_t>(channels);
    double sum = 0;
    for (std::size_t i = from; i < from + n; ++i) {
      const double x{held[i * stride + static_cast<std::size_t>(channel)]};
      sum += x * x;
    }
    return dbfs_from_power(sum / static_cast<double>(n));
  }

  // A window whose level moves evenly by as much as the windows differ holds no step: that is a drift.
  [[nodiscard]] bool moves_evenly(int channel, double db) const {
    const std::size_t all = held.size() / static_cast<std::size_t>(channels);
    const std::size_t n = std::min(frames(1), all / 2);
    const double within = level_dbfs(channel, all - n, n) - level_dbfs(channel, 0, n);
    return within * db > 0 && std::abs(within) > std::abs(db) / 2;
  }

  // A loss from one second up, however long and wherever it lies: the level in short blocks against the
  // first. Shorter ones are found by their edges (audio.dropout).
  void follow_losses(Tally& t, int channel, bool last,
                     const std::function<void(double, double)>& keep) const {
    if (!t.first_dbfs) return;
    const std::size_t block = frames(loss_block_s);
    const std::size_t all = held.size() / static_cast<std::size_t>(channels);
    const std::size_t end = last ? all : std::min(all, frames(options.window_s));
    const auto at_s = [&](std::size_t frame) { return static_cast<double>(first_frame + frame) / rate_hz; };
    const auto close = [&](double to_s) {
      const double from_s = *t.lost_from_s;
      t.lost_from_s.reset();
      if (to_s - from_s < least_loss_s) return;
      t.lost_in_window = true;
      const bool counted = std::any_of(t.dropouts_near.begin(), t.dropouts_near.end(), [&](double x) {
        return x > from_s - 3 * loss_block_s && x < to_s + 3 * loss_block_s;
      });
      if (!counted) keep(from_s, to_s - from_s);
    };
    for (std::size_t from = 0; from + block <= end; from += block) {
      const bool lost = level_dbfs(channel, from, block) < *t.first_dbfs - gone_db;
      if (lost && !t.lost_from_s) t.lost_from_s = at_s(from);
      if (!lost && t.lost_from_s) close(at_s(from));
    }
    if (t.lost_from_s && at_s(end) - *t.lost_from_s >= least_loss_s) t.lost_in_window = true;
    if (last && t.lost_from_s && at_s(end) - *t.lost_from_s >= least_last_loss_s) close(at_s(end));
  }

  void follow_tone(Tally& t, int channel, const Readings& readings, const std::string& suffix) const {
    const double start_s = static_cast<double>(first_frame) / rate_hz;
    bool stepped = false;
    const auto step = [&](double db, double at_s) {
      stepped = true;
      t.slow.stepped();
      if (std::abs(db) > std::abs(t.step_db)) {
        t.step_db = db;
        t.step_at_s = at_s;
      }
      tell({SoakEvent::Kind::Step, at_s, db, suffix});
    };
    const auto level = number(readings, "audio.tone.level" + suffix);
    const bool there = level && (!t.first_dbfs || *level > *t.first_dbfs - gone_db);
    if (!there) {
      if (t.first_dbfs && !t.gone) tell({SoakEvent::Kind::Gone, start_s, 0, suffix});
      if (t.first_dbfs && !t.gone && !t.lost_in_window) t.dropouts += 1;
      t.gone = t.first_dbfs.has_value();
      t.tone_dbfs.reset();
      return;
    }
    if (t.gone) tell({SoakEvent::Kind::Back, start_s, 0, suffix});
    t.gone = false;
    if (!t.first_dbfs) t.first_dbfs = level;
    const auto within = number(readings, "audio.tone.step" + suffix);
    const auto at = number(readings, "audio.tone.step.time" + suffix);
    if (within && at && std::abs(*within) >= options.step_db) {
      // Seen in the overlap by both windows, it is told by the one that has it nearer its middle.
      const double last_s = options.window_s + options.overlap_s / 2;
      if (*at < last_s && (first_frame == 0 || *at >= options.overlap_s / 2)) step(*within, start_s + *at);
    } else if (t.tone_dbfs && std::abs(*level - *t.tone_dbfs) >= options.step_db &&
               !moves_evenly(channel, *level - *t.tone_dbfs)) {
      step(*level - *t.tone_dbfs, start_s);
    }
    t.tone_dbfs = within ? std::nullopt : level;
    const auto counts = [&](const char* id) { return number(readings, id + suffix).value_or(0) > 0; };
    const bool eventful = stepped || within || t.lost_in_window || t.lost_from_s ||
                          counts("audio.click.count") || counts("audio.crackle.count") ||
                          counts("audio.dropout.count") || counts("audio.clip.samples");
    t.slow.follow({start_s, readings, suffix, *level, eventful}, [&](SoakEvent::Kind kind, double db) {
      tell({kind, start_s, db, suffix});
    });
  }

  // A side on which the tone never came has nothing to say where the other carries it.
  [[nodiscard]] Reading signal_reading(const Tally& t, const std::string& suffix) const {
    const std::string id = "audio.signal" + suffix;
    if (t.first_dbfs) return text_reading(id, "present");
    if (std::any_of(tallies.begin(), tallies.end(), [](const Tally& x) { return x.first_dbfs.has_value(); }))
      return unmeasurable(id, "nothing was sent to this side, or nothing came back on it");
    if (static_cast<double>(pushed) < shortest_signal_s * rate_hz)
      return unmeasurable(id, "the run was too short to see whether the tone came");
    return text_reading(id, "none", "the steady tone never came in");
  }

  void measure(bool last) {
    WindowSource source(held, rate_hz, channels, options.signal);
    measure::AudioOptions how;
    how.tone_hz = options.tone_hz;
    how.signal = options.signal;
    how.part = true;
    const double length_s = static_cast<double>(held.size()) / static_cast<double>(channels) / rate_hz;
    if (length_s < 0.2) return;
    const Readings readings = measure::measure_audio(source, how);
    const double from_s = first_frame == 0 ? 0 : options.overlap_s / 2;
    const double to_s = last ? length_s + 1 : length_s - options.overlap_s / 2;
    for (int c = 0; c < channels; ++c) {
      Tally& t = tallies[static_cast<std::size_t>(c)];
      const std::string suffix = channel_suffix(c, channels);
      const auto keep = [&](SoakEvent::Kind kind, double& count, Curve& times) {
        return [&, kind](double at_s, double amount) {
          count += 1;
          if (times.x.size() < most_times) {
            times.x.push_back(at_s);
            times.y.push_back(amount);
          }
          tell({kind, at_s, amount, suffix});
        };
      };
      events(readings, "audio.click.times" + suffix, from_s, to_s,
             keep(SoakEvent::Kind::Click, t.clicks, t.click_times));
      events(readings, "audio.crackle.times" + suffix, from_s, to_s,
             keep(SoakEvent::Kind::Crackle, t.crackles, t.crackle_times));
      const auto dropout = keep(SoakEvent::Kind::Dropout, t.dropouts, t.dropout_times);
      std::erase_if(t.dropouts_near, [&](double x) {
        return x < static_cast<double>(first_frame) / rate_hz - options.window_s && !t.lost_from_s;
      });
      events(readings, "audio.dropout.times" + suffix, from_s, to_s, [&](double at_s, double amount) {
        t.dropouts_near.push_back(at_s);
        dropout(at_s, amount);
      });
      Curve unkept{{}, {}, "s", "samples", {}};
      double stretches = 0;
      // Where so much is clipped that not every stretch has its time, the window's share of the whole counts.
      const Reading* clips = find_reading(readings, "audio.clip.times" + suffix);
      if (clips != nullptr && clips->curve().x.size() >= measure::most_events_kept) {
        t.clipped += std::round(number(readings, "audio.clip.samples" + suffix).value_or(0) *
                                (std::min(to_s, length_s) - from_s) / length_s);
        keep(SoakEvent::Kind::Clip, stretches, unkept)(static_cast<double>(first_frame) / rate_hz + from_s,
                                                       clips->curve().y.front());
      } else
        events(readings, "audio.clip.times" + suffix, from_s, to_s, [&](double at_s, double amount) {
          t.clipped += amount;
          keep(SoakEvent::Kind::Clip, stretches, unkept)(at_s, amount);
        });
      t.lost_in_window = false;
      const bool known = t.first_dbfs.has_value();
      if (known) follow_losses(t, c, last, dropout);
      // The rest that a run ends with may be too short for the tone, or hold its end.
      if (!last || first_frame == 0) follow_tone(t, c, readings, suffix);
      if (!known) follow_losses(t, c, last, dropout);
    }
  }
};

Soak::Soak(double rate_hz, int channels, SoakOptions options, std::function<void(const SoakEvent&)> told)
    : impl_(std::make_unique<Impl>(
          Impl{rate_hz, channels, std::move(options), std::move(told), {}, 0, 0, {}})) {
  impl_->tallies.resize(static_cast<std::size_t>(channels));
  impl_->held.reserve(impl_->samples(impl_->options.window_s + impl_->options.overlap_s));
}
Soak::~Soak() = default;

void Soak::push(std::span<const float> interleaved) {
  Impl& s = *impl_;
  const std::size_t whole = s.samples(s.options.window_s + s.options.overlap_s);
  s.pushed += interleaved.size() / static_cast<std::size_t>(s.channels);
  while (!interleaved.empty()) {
    const std::size_t n = std::min(interleaved.size(), whole - s.held.size());
    s.held.insert(s.held.end(), interleaved.begin(), interleaved.begin() + static_cast<std::ptrdiff_t>(n));
    interleaved = interleaved.subspan(n);
    if (s.held.size() < whole) return;
    s.measure(false);
    s.held.erase(s.held.begin(), s.held.begin() + static_cast<std::ptrdiff_t>(s.samples(s.options.window_s)));
    s.first_frame += s.frames(s.options.window_s);
  }
}

Readings Soak::finish() {
  Impl& s = *impl_;
  if (static_cast<double>(s.pushed) < shortest_soak_s * s.rate_hz)
    throw unusable("the long run holds less than 0.1 s; let it run on");
  s.measure(true);
  Readings out;
  for (int c = 0; c < s.channels; ++c) {
    const Tally& t = s.tallies[static_cast<std::size_t>(c)];
    const std::string suffix = channel_suffix(c, s.channels);
    out.push_back(s.signal_reading(t, suffix));
    const std::string kept = fmt::format("the first {} are kept with their times", most_times);
    const auto counted = [&](const char* id, double n, const Curve& times) {
      out.push_back(number_reading(std::string(id) + ".count" + suffix, n, std::nullopt));
      if (!times.x.empty())
        out.push_back(curve_reading(std::string(id) + ".times" + suffix, times, std::nullopt,
                                    n > static_cast<double>(most_times) ? kept : ""));
    };
    counted("audio.click", t.clicks, t.click_times);
    counted("audio.dropout", t.dropouts, t.dropout_times);
    counted("audio.crackle", t.crackles, t.crackle_times);
    out.push_back(number_reading("audio.clip.samples" + suffix, t.clipped, std::nullopt));
    if (t.step_db != 0) {
      out.push_back(number_reading("audio.tone.step" + suffix, t.step_db, std::nullopt));
      out.push_back(number_reading("audio.tone.step.time" + suffix, t.step_at_s, std::nullopt));
    }
    t.slow.to_readings(out, suffix);
  }
  return out;
}

}  // namespace linebench::check
