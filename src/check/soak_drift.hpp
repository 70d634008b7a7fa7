// What changes slowly in a long run: the tone's level, and hum, noise and distortion that come in during it.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/check/soak.hpp>
#include <optional>
#include <string>

namespace linebench::check {

/// One channel's, window after window, in constant memory.
class SlowChange {
 public:
  struct Window {
    double at_s = 0;
    const Readings& readings;
    std::string suffix;
    double tone_dbfs = 0;
    bool eventful = false;  ///< a step, click, dropout or clipping lies in it, which reads as level and noise
  };
  /// The level jumped: what it is by between this and the next window without an event is no drift, also
  /// where it jumped more than once.
  void stepped() { jumped_ = true; }
  /// @param tell is given each event.
  template <typename Tell>
  void follow(const Window& w, Tell tell) {
    if (!begun_s_) begun_s_ = w.at_s;
    if (w.eventful) return;
    if (const auto db = drifted(w)) tell(SoakEvent::Kind::Drift, *db);
    if (const auto db = hum_.rise(w, *begun_s_)) tell(SoakEvent::Kind::HumRise, *db);
    if (const auto db = noise_.rise(w, *begun_s_)) tell(SoakEvent::Kind::NoiseRise, *db);
    if (const auto db = distortion_.rise(w, *begun_s_)) tell(SoakEvent::Kind::DistortionRise, *db);
  }
  /// audio.tone.drift and when it was largest; audio.hum.rise, audio.noise.rise, audio.thd.rise and when the
  /// largest came in.
  void to_readings(Readings& out, const std::string& suffix) const;

 private:
  struct Largest {
    double db = 0, u_db = 0, at_s = 0;
  };
  struct Rise {
    const char* id;
    double heard_below_tone_db;          // what lies further under the tone does not matter
    bool beside_hum = false;             // hum is a part of it, and has its own
    std::optional<double> usual_dbfs{};  // with its uncertainty, the quietest of the run's start
    bool up = false;
    double came_s = 0;  // when what is up now came
    std::optional<Largest> largest{};
    [[nodiscard]] std::optional<double> rise(const Window& w, double begun_s);
  };
  [[nodiscard]] std::optional<double> drifted(const Window& w);

  std::optional<double> begun_s_{}, first_dbfs_{};
  double first_u_db_ = 0, last_dbfs_ = 0, stepped_db_ = 0, told_db_ = 0;
  bool jumped_ = false;
  std::optional<Largest> drift_{};
  // Further under the tone they are not heard in pauses (20 dB under the speech path's limit for hum).
  Rise hum_{"audio.hum.level", 60}, noise_{"audio.noise.a", 60, true};
  // 1 %: less is not heard in speech (common practice).
  Rise distortion_{"audio.thd", 40};
};

}  // namespace linebench::check
