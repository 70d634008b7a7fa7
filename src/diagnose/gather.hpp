// How the readings of captures become signs, one view a file.
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <linebench/diagnose/evidence.hpp>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace linebench::diagnose {

/// How well a value stands: a weak one speaks only where no other does.
enum class Support { Good, Weak };

/// Collects candidates for signs; of those that are well supported the one furthest from sound stays, and
/// says of how many it is the extreme.
class Gatherer {
 public:
  explicit Gatherer(const FaultBook& book) : book_(book) {}

  /// What was sent in the capture that the next candidates are from. Captures of one signal are of several
  /// places; captures of several signals show the same places again.
  void begin(const std::string& signal) { signal_ = signal; }

  /// @param value, u in the sign's own unit (u expanded, k=2); a sign the book does not have is left out.
  void number(std::string_view sign, double value, double u, const std::string& from,
              const std::string& remark = {}, Support support = Support::Good);
  /// @param u of the bound itself, expanded (k=2), working units.
  void bound(std::string_view sign, double value, double u, const std::string& from,
             const std::string& remark = {});
  /// What is there is this or above.
  void at_least(std::string_view sign, double value, double u, const std::string& from,
                const std::string& remark, Support support);
  /// A size that was measured; the bound where nothing was found, or nothing that stands out of its
  /// uncertainty: a tear of 0 px says only that none is larger.
  void amount(std::string_view sign, const Readings& readings, std::string_view id, const std::string& from);
  void word(std::string_view sign, const std::string& word, const std::string& from,
            const std::string& remark = {});

  /// The signs so far offered once for the strongest of this many places.
  void chosen_of(std::string_view sign, std::size_t places);

  [[nodiscard]] std::vector<Evidence> in_book_order() const;

 private:
  struct Offer {
    Evidence evidence;
    std::string signal;
    Support support;
  };
  void offer(const Sign& sign, Evidence e, Support support = Support::Good);
  [[nodiscard]] Evidence spokesman(const Sign& sign, const std::vector<Offer>& offers) const;

  const FaultBook& book_;
  std::string signal_;
  std::map<std::string, std::vector<Offer>, std::less<>> offers_;
  std::map<std::string, std::size_t, std::less<>> places_;
};

/// A measured number of this id and its expanded uncertainty.
struct Number {
  double value = 0;
  double u = 0;
};
[[nodiscard]] std::optional<Number> number_of(const Readings& readings, std::string_view id);
/// Frequency of a picture's hum ("video.hum", "picture.hum") whose level stands out of its own uncertainty:
/// of what may as well not be there, it says nothing.
[[nodiscard]] std::optional<Number> hum_frequency_of(const Readings& readings, const std::string& hum);
[[nodiscard]] std::optional<std::string> text_of(const Readings& readings, std::string_view id);
/// A composite signal was found, and no colour burst in it.
[[nodiscard]] bool no_burst(const Readings& readings);
[[nodiscard]] std::optional<double> bound_of(const Readings& readings, std::string_view id);

/// Whether hum at these frequencies can be of one mains: it moves by a few tenths of a hertz in a day.
[[nodiscard]] bool one_mains(double a_hz, double b_hz);

/// Ids' channel suffixes in this capture: {""} or {".left", ".right"} ...
[[nodiscard]] std::vector<std::string> suffixes_of(const Capture& capture);

/// Two takes never give the same figures throughout: these are of one and the same.
[[nodiscard]] bool one_and_the_same(const Capture& a, const Capture& b);

/// What was sent decides what a level means.
enum class Sent { Tone, Programme, Idle, Other };
constexpr double idle_dbfs = -45;  ///< below it nothing is being sent, whatever hums there
[[nodiscard]] Sent sent_on(const Capture& capture, const std::string& suffix);
/// Whether what was found of hum is one line that may have been sent, and nobody told; and to ask for that.
[[nodiscard]] bool may_be_a_tone(const Capture& capture, const std::string& suffix);
[[nodiscard]] std::string question_of_lone_line(const Capture& capture, const std::string& suffix);
/// Hum or another disturbance makes most of what there is.
[[nodiscard]] bool ruled_from_outside(const Readings& readings, const std::string& suffix);

/// What a line lost between two places, as two captures by one card at one setting show it.
struct Loss {
  double db = 0;             ///< below 0; what is left against what came
  double u = 0;              ///< k=2
  bool gone = false;         ///< hum and noise alone are left: `db` is the most there may be
  std::string before, here;  ///< captures
};
/// Nothing where no tone or programme came, another signal was sent, or hardly less is there.
[[nodiscard]] std::optional<Loss> loss_along(const Capture& before, const Capture& here);
/// The greatest against any capture from further up the line.
[[nodiscard]] std::optional<Loss> loss_before(std::span<const Capture> captures, const Capture& here);
/// What has to be known before a loss is the line's.
[[nodiscard]] std::string question_of(const Loss& loss);
void gather_loss(const Loss& loss, Gatherer& out);

/// dBFS of an input that nobody lined up or calibrated says of the path's level what the input's gain
/// control, from microphone to line, leaves to be said (k=2): the project's estimate.
constexpr double unknown_gain_db = 24;
void gather_response(const Capture& capture, const std::string& suffix, const std::string& name,
                     Gatherer& out);

void gather_audio(const std::vector<Capture>& captures, const Site& site, Gatherer& out);
void gather_video(const Capture& capture, const Site& site, Gatherer& out);
void gather_picture(const Capture& capture, const Site& site, Gatherer& out);
/// Whether the scanning system found is the site's. @param system as the capture's reading says it.
void gather_system(const std::string& system, const Site& site, const std::string& from, Gatherer& out);
/// @param readings "video.noise.periodic" or "picture.noise.periodic". @param mv_each millivolts of the
/// level's unit. @param patterned a test picture was sent, in which nothing stands by itself.
void gather_tone(const Capture& capture, const std::string& readings, double mv_each, bool patterned,
                 Gatherer& out);
void gather_shared(const std::vector<Capture>& captures, Gatherer& out);

}  // namespace linebench::diagnose
