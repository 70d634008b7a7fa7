#include "soak_drift.hpp"

#include <cmath>
#include <linebench/base/decibel.hpp>

#include "follows.hpp"

namespace linebench::check {
namespace {

// An amplifier that warms up stays within it (common practice); told again for each further one.
constexpr double drift_db = 1;
// Power doubled: less is a room's own restlessness.
constexpr double rise_db = 3;
// How long the run's start lasts, by whose quietest window later ones are judged.
constexpr double start_s = 60;
constexpr double window_s = 10;

struct Level {
  double dbfs = 0, u_db = 0;
  bool bounded = false;  // it is at most that
};

// Of distortion, the level of the harmonics.
std::optional<Level> level_of(const Reading* r, double tone_dbfs) {
  const bool bounded = r != nullptr && !r->measured() && r->at_most;
  if (r == nullptr || (!r->measured() && !bounded)) return std::nullopt;
  const double value = bounded ? *r->at_most : r->number();
  const double u = r->uncertainty.value_or(0);
  if (r->unit != "%") return Level{value, u, bounded};
  if (!(value > 0)) return std::nullopt;
  return Level{tone_dbfs + db_from_amplitude(value / 100), db_from_amplitude(1 + u / value), bounded};
}

// What the ear hears of hum is a part of the noise. Where it is the larger one, the rest is not known from
// it.
Level noise_beside_hum(const Level& noise, const Readings& readings, const std::string& suffix) {
  const double all = power_from_db(noise.dbfs);
  const double hum = hum_as_heard(readings, suffix);
  if (hum > all / 2) return {noise.dbfs, noise.u_db, true};
  return {db_from_power(all - hum), noise.u_db * all / (all - hum), noise.bounded};
}

double uncertainty_of(const Reading& r) { return r.uncertainty.value_or(0); }

}  // namespace

std::optional<double> SlowChange::drifted(const Window& w) {
  const Reading* level = find_reading(w.readings, "audio.tone.level" + w.suffix);
  const double u_db = level != nullptr ? uncertainty_of(*level) : 0;
  if (!first_dbfs_) {
    first_dbfs_ = w.tone_dbfs;
    first_u_db_ = u_db;
    last_dbfs_ = w.tone_dbfs;
    return std::nullopt;
  }
  if (jumped_) stepped_db_ += w.tone_dbfs - last_dbfs_;
  jumped_ = false;
  last_dbfs_ = w.tone_dbfs;
  const double db = w.tone_dbfs - *first_dbfs_ - stepped_db_;
  const double both_u_db = std::hypot(u_db, first_u_db_);
  if (!drift_ || std::abs(db) > std::abs(drift_->db)) drift_ = Largest{db, both_u_db, w.at_s};
  if (std::abs(db - told_db_) - both_u_db < drift_db) return std::nullopt;
  told_db_ = db;
  return db;
}

std::optional<double> SlowChange::Rise::rise(const Window& w, double begun_s) {
  auto now = level_of(find_reading(w.readings, id + w.suffix), w.tone_dbfs);
  if (now && beside_hum) now = noise_beside_hum(*now, w.readings, w.suffix);
  if (!now) return std::nullopt;
  const double most = now->bounded ? now->dbfs : now->dbfs + now->u_db;
  const std::optional<double> usual = usual_dbfs;
  if (!usual || (w.at_s - begun_s < start_s && most < *usual)) usual_dbfs = most;
  if (!usual || now->bounded) {
    up = false;
    return std::nullopt;
  }
  const double db = now->dbfs - *usual;
  const bool risen = db - now->u_db >= rise_db && now->dbfs - now->u_db > w.tone_dbfs - heard_below_tone_db;
  const bool comes = risen && !up;
  if (comes) came_s = w.at_s;
  // It is up until it has gone half of the way back.
  up = risen || (up && db > rise_db / 2);
  if (risen && (!largest || db > largest->db)) largest = Largest{db, now->u_db, came_s};
  return comes ? std::optional<double>(db) : std::nullopt;
}

void SlowChange::to_readings(Readings& out, const std::string& suffix) const {
  const auto add = [&](const std::string& id, const std::optional<Largest>& l, const char* note) {
    if (!l) return;
    out.push_back(number_reading(id + suffix, l->db, l->u_db, note));
    out.push_back(number_reading(id + ".time" + suffix, l->at_s, window_s));
  };
  add("audio.tone.drift", drift_, "");
  const char* least = "at least: against the most that can have been there at the run's start";
  add("audio.hum.rise", hum_.largest, least);
  add("audio.noise.rise", noise_.largest, least);
  add("audio.thd.rise", distortion_.largest, least);
}

}  // namespace linebench::check
