// Signs from composite readings: waveform and lowband views.
#include <algorithm>
#include <linebench/base/decibel.hpp>
#include <linebench/standards/video.hpp>
#include <linebench/standards/video_colour.hpp>

#include "gather.hpp"

namespace linebench::diagnose {
namespace {

// Full bars and three-quarter ones are one picture at two levels, told by the level of sync; where sync and
// burst are not at one level, they may be either.
bool may_be_either(const Readings& readings, const standards::VideoStandard& nominal) {
  const auto sync = number_of(readings, "video.sync.amplitude");
  const auto burst = number_of(readings, "video.burst.amplitude");
  if (!sync || !burst || !(sync->value > 0) || !(burst->value > 0)) return false;
  constexpr double halfway_db = 1.25;  // between 100 and 75 %
  const double apart = db_from_amplitude(sync->value / std::abs(nominal.sync_mv.nominal)) -
                       db_from_amplitude(burst->value / nominal.burst_pp_mv.nominal);
  return std::abs(apart) > halfway_db;
}

// White of 100 % beside colours of 75: no other form looks like it.
bool mixed_form(const std::string& kind) { return kind.starts_with(standards::bars_100_0_75_0.name); }

// Recipes that hold full white; for others a level below nominal says nothing.
bool white_sent(const CaptureFacts& facts, const Readings& readings,
                const standards::VideoStandard& nominal) {
  const std::string kind = text_of(readings, "video.bars.kind").value_or("");
  if (mixed_form(kind) || (kind.starts_with("100") && !may_be_either(readings, nominal))) return true;
  for (const char* start : {"video-bars-100", "video-bands", "video-white", "video-window", "video-pulse-bar",
                            "video-staircase", "video-composite-line", "video-field-square"}) {
    if (facts.signal.starts_with(start)) return true;
  }
  return false;
}

bool test_picture(const Readings& readings) {
  return text_of(readings, "video.pattern").value_or("none") != "none";
}

// Some test lines rest on blanking and have no black; their lowest part says nothing of setup.
bool holds_black(const Readings& readings) {
  const std::string pattern = text_of(readings, "video.pattern").value_or("");
  for (const char* without : {"pulse", "staircase", "multiburst", "window", "several"}) {
    if (pattern.find(without) != std::string::npos) return false;
  }
  return true;
}

// dB of a value against nominal, with its uncertainty in dB.
void ratio(std::string_view sign, const Number& v, double nominal, const std::string& from,
           const std::string& shown, Gatherer& out) {
  // What is no steadier than this is neither right nor wrong.
  if (!(v.value > 0) || !(nominal > 0) || v.u > 0.5 * v.value) return;
  out.number(sign, db_from_amplitude(v.value / nominal), 8.686 * v.u / v.value, from, shown);
}

// Setup stands at its millivolts; what weakens or doubles the whole signal takes it along, and then it lies
// between there and where sync says.
void setup_of(const Capture& c, const Site& site, double sync_gain, Gatherer& out) {
  const auto setup = number_of(c.readings, "video.setup");
  if (!setup || !holds_black(c.readings)) return;
  const double nominal = site.system == "525" ? standards::video_525.black_mv.nominal : 0;
  const double least = nominal * std::min(1.0, sync_gain);
  const double most = nominal * std::max(1.0, sync_gain);
  const double error = setup->value < least  ? setup->value - least
                       : setup->value > most ? setup->value - most
                                             : 0;
  // Where no pattern was recognised, what is darkest may be no black: that lies there or below.
  if (!test_picture(c.readings) && error > 0) {
    out.bound("video.setup.error", error, setup->u, c.name);
  } else {
    out.number("video.setup.error", error, setup->u, c.name, fmt::format("setup {:.1f} mV", setup->value),
               test_picture(c.readings) ? Support::Good : Support::Weak);
  }
}

void burst_missing(const Capture& c, Gatherer& out) {
  // A line or two near the fields' ends, where burst is blanked by turns, is nothing.
  constexpr double blanked_by_turns = 0.5;
  const auto lines = number_of(c.readings, "video.burst.missing");
  if (!lines) return;
  // Nor is what the source blanks in every frame alike.
  const auto blanked = number_of(c.readings, "video.burst.blanked");
  if (const double lost = lines->value - (blanked ? blanked->value : 0); lost > blanked_by_turns) {
    out.number("video.burst.missing", lost, lines->u, c.name);
  } else {
    out.bound("video.burst.missing", blanked_by_turns, 0, c.name,
              blanked ? "beside these: " + find_reading(c.readings, "video.burst.missing")->reason : "");
  }
}

// Bars' colours for their burst, where their form is sure.
void saturation_of(const Readings& r, const standards::VideoStandard& nominal, const std::string& from,
                   Gatherer& out) {
  const auto saturation = number_of(r, "video.saturation");
  if (!saturation || !(saturation->value > 0)) return;
  const std::string kind = text_of(r, "video.bars.kind").value_or("");
  const std::string shown = fmt::format("{:.2f} of what the burst asks for", saturation->value);
  if (mixed_form(kind) || !may_be_either(r, nominal))
    return ratio("video.saturation", *saturation, 1, from, shown, out);
  // Told by sync as full, the colours may be of three-quarter bars, and the other way round.
  constexpr double apart_db = 2.499;  // 75 to 100
  const double middle =
      db_from_amplitude(saturation->value) + (kind.starts_with("100") ? 0.5 : -0.5) * apart_db;
  out.number("video.saturation", middle, apart_db, from, shown + ", or of bars of the other form");
}

void levels(const Capture& c, const Site& site, const standards::VideoStandard& nominal, Gatherer& out) {
  const Readings& r = c.readings;
  const auto sync = number_of(r, "video.sync.amplitude");
  const double sync_nominal = std::abs(nominal.sync_mv.nominal);
  if (sync)
    ratio("video.sync.level", *sync, sync_nominal, c.name, fmt::format("{:.0f} mV", sync->value), out);
  const auto white = number_of(r, "video.white");
  if (white) {
    const bool high = white->value > 1.06 * nominal.white_mv.nominal;
    const bool sent = white_sent(c.facts, r, nominal);
    // A scene's or a three-quarter bar's brightest may stand below the white there is.
    if (high && !sent)
      out.at_least("video.white.level", db_from_amplitude(white->value / nominal.white_mv.nominal),
                   8.686 * white->u / white->value, c.name, fmt::format("{:.0f} mV", white->value),
                   Support::Good);
    else if (sent)
      ratio("video.white.level", *white, nominal.white_mv.nominal, c.name,
            fmt::format("{:.0f} mV", white->value), out);
  }
  out.amount("video.level.step", r, "video.level.step", c.name);
  burst_missing(c, out);
  // Tops of colour are the means of a few samples: in snow of a tenth of white some end alike by chance.
  const auto snow = number_of(r, "video.noise");
  if (!snow || snow->value < 0.1 * nominal.white_mv.nominal)
    out.amount("video.clipped", r, "video.clipped", c.name);
  if (const auto burst = number_of(r, "video.burst.amplitude")) {
    out.word("video.colour", "present", c.name);
    if (sync && sync->value > 0) {
      const Number v{
          burst->value / sync->value,
          std::hypot(burst->u / sync->value, burst->value * sync->u / (sync->value * sync->value))};
      ratio("video.burst.ratio", v, nominal.burst_pp_mv.nominal / sync_nominal, c.name,
            fmt::format("burst {:.0f} mV", burst->value), out);
    }
  } else if (no_burst(r)) {
    out.word("video.colour", text_of(r, "video.burst.lost") == "yes" ? "colours without it" : "none", c.name);
  }
  saturation_of(r, nominal, c.name, out);
  if (sync && site.system.substr(0, 3) == (nominal.is_525() ? "525" : "625"))
    setup_of(c, site, sync->value / sync_nominal, out);
  if (const auto rise = number_of(r, "video.sync.rise"))
    ratio("video.sync.rise", *rise, nominal.sync_rise_ns.nominal, c.name,
          fmt::format("{:.0f} ns", rise->value), out);
}

void lock_of(const Capture& c, Gatherer& out) {
  const Readings& r = c.readings;
  const auto mains = hum_frequency_of(r, "video.hum");
  const auto field = number_of(r, "video.field.frequency");
  if (mains && field) {
    const double u = std::hypot(mains->u, field->u);
    const double apart = std::abs(mains->value - field->value);
    const std::string remark = fmt::format("hum {:.3f} Hz, field {:.3f} Hz", mains->value, field->value);
    if (apart > 1.5 * u && apart < 5) {
      out.word("video.lock", "free", c.name, remark);
    } else if (u < 0.01 && apart < u) {
      out.word("video.lock", "locked", c.name, remark);
    }
  }
}

// Sizes squared of the multiples by kind: what was measured, and what may be hidden by the picture.
struct HumShares {
  double measured[4] = {}, most[4] = {};  // fundamental, even, odd (to 5), upper
  double all_even = 0, all_odd = 0;       // measured; at most: of the fundamental's multiples, upper ones too
  double largest = 0;                     // of those measured, not squared
  bool any_first = false;                 // the first may be anything
  bool unknown = false;                   // another may

  static std::size_t kind(int n) { return n == 1 ? 0 : n > 5 ? 3 : n % 2 == 0 ? 1 : 2; }
  explicit HumShares(const Readings& r) {
    for (int n = 1; n <= 40; ++n) {
      const std::string id = fmt::format("video.hum.harmonic.{}", n);
      if (const auto h = number_of(r, id)) {
        measured[kind(n)] += h->value * h->value;
        most[kind(n)] += h->value * h->value;
        largest = std::max(largest, h->value);
        if (n > 1) (n % 2 == 0 ? all_even : all_odd) += h->value * h->value;
      } else if (const auto b = bound_of(r, id)) {
        most[kind(n)] += *b * *b;
        if (n > 1 && n % 2 == 1) all_odd += *b * *b;
      } else if (find_reading(r, id) != nullptr) {
        (n == 1 ? any_first : unknown) = true;
      }
    }
  }
  [[nodiscard]] bool seen() const { return measured[0] + measured[1] + measured[2] + measured[3] > 0; }
  [[nodiscard]] bool hidden() const {
    return most[0] + most[1] + most[2] + most[3] > measured[0] + measured[1] + measured[2] + measured[3];
  }
};

// Nothing where the picture hides too much to say.
const char* pattern_of(const HumShares& h) {
  static constexpr const char* words[] = {"fundamental", "even", "odd"};
  if (h.unknown || !h.seen()) return nullptr;
  const double* by = h.most;
  // What earth carries has odd multiples beside its fundamental, and hardly even ones: where those stand far
  // above the odd ones the fundamental is no matter.
  constexpr double far_above = 30;  // in power
  if (h.any_first) return h.measured[1] > 0 && h.all_even > far_above * h.all_odd ? "even" : nullptr;
  const std::size_t top = by[0] >= by[1] && by[0] >= by[2] ? 0 : by[1] >= by[2] ? 1 : 2;
  const double all = by[0] + by[1] + by[2] + by[3];
  const bool rich = by[3] > 0.15 * all || by[top] < 0.6 * all;
  if (!rich) return words[top];
  if (!h.hidden()) return "rich";
  // What is hidden counts as large as it may be; a kind that stands twice above each of the others even so
  // is the pattern.
  for (std::size_t k = 0; k < 3; ++k) {
    bool above = true;
    for (std::size_t other = 0; other < 4; ++other)
      above = above && (other == k || h.measured[k] > 2 * h.most[other]);
    if (above) return words[k];
  }
  return nullptr;
}

// Hum in step with the fields may be the picture itself through a coupling capacitor: most at the field rate,
// and then no more than what may be there.
bool may_be_tilt(const Readings& r) {
  const Reading* level = find_reading(r, "video.hum.level");
  const auto hz = number_of(r, "video.hum.frequency");
  const auto field = number_of(r, "video.field.frequency");
  const auto first = number_of(r, "video.hum.harmonic.1");
  if (level == nullptr || !level->measured() || !hz || !field || !first) return false;
  return level->reason.find("cannot be told from a field-rate tilt") != std::string::npos &&
         std::abs(hz->value - field->value) < 1.5 * std::hypot(hz->u, field->u) &&
         2 * first->value > level->number();
}

void hum(const Capture& c, Gatherer& out) {
  const HumShares shares(c.readings);
  if (may_be_tilt(c.readings)) {
    const auto most = number_of(c.readings, "video.hum.level");
    out.bound("video.hum.level", most->value + most->u, 0, c.name);
    constexpr double worth_a_word_mv = 7;  // a hundredth of white, as is usual of sound paths
    if (most->value - most->u > worth_a_word_mv)
      out.word("video.hum.trace", "hum or a field tilt", c.name,
               fmt::format("{:.0f} mV \u00b1{:.0f}, at the field rate", most->value, most->u));
    return;
  }
  // Where the picture hides every multiple, the level is only what may be there.
  const auto level = number_of(c.readings, "video.hum.level");
  if (level && !shares.seen() && shares.hidden()) {
    out.bound("video.hum.level", level->value + level->u, 0, c.name);
  } else if (!level && !bound_of(c.readings, "video.hum.level") && shares.seen()) {
    constexpr double least_share = 0.785;  // of a wave, peak to peak, to its largest multiple: a square's
    out.at_least("video.hum.level", least_share * shares.largest, 0, c.name, "other multiples are hidden",
                 Support::Good);
  } else {
    out.amount("video.hum.level", c.readings, "video.hum.level", c.name);
  }
  if (const char* pattern = pattern_of(shares)) out.word("video.hum.pattern", pattern, c.name);
  lock_of(c, out);
}

// What came again frame by frame was picture; what is left of a live picture may be as well, or all of it
// where frames were not compared.
void noise(const Capture& c, Gatherer& out) {
  const Reading* n = find_reading(c.readings, "video.noise");
  const Reading* again = find_reading(c.readings, "video.noise.repeated");
  constexpr double hardly_any = 50;  // % of the power: it was taken out, and most of what stood was noise
  const bool may_be_picture = again != nullptr && !(again->measured() && again->number() < hardly_any);
  if (n != nullptr && n->measured() && may_be_picture && !test_picture(c.readings)) {
    out.bound("video.noise", n->number() + n->uncertainty.value_or(0), 0, c.name);
  } else {
    out.amount("video.noise", c.readings, "video.noise", c.name);
  }
}

// The colours of bars lie at six luminances and stand in a fixed proportion, whatever the form and the path's
// response: where they do not, gain changes with luminance.
void bent_colours(const Capture& c, const standards::VideoStandard& nominal, Gatherer& out) {
  double least = 0, most = 0, u = 0;
  for (int i = 1; i <= 6; ++i) {
    const auto id = fmt::format("video.bars.{}.chroma", standards::bar_names[static_cast<std::size_t>(i)]);
    const auto chroma = number_of(c.readings, id);
    if (!chroma || !(chroma->value > 0)) return;
    const auto sent = standards::composite_colour(nominal, standards::bar_rgb(standards::bars_100, i));
    const double gain = chroma->value / sent.chroma_pp_mv;
    least = i == 1 ? gain : std::min(least, gain);
    most = std::max(most, gain);
    u = std::max(u, chroma->u / chroma->value);
  }
  constexpr double of_sources = 2;  // per cent by which bars of sound sources depart from the table
  out.number("video.nonlinearity", 100 * (most / least - 1), std::hypot(200 * u, of_sources), c.name,
             "colours of the bars against each other");
}

}  // namespace

bool no_burst(const Readings& readings) {
  const Reading* b = find_reading(readings, "video.burst.amplitude");
  return b != nullptr && !b->measured() && b->reason.find("no colour burst") != std::string::npos;
}

void gather_system(const std::string& system, const Site& site, const std::string& from, Gatherer& out) {
  if (site.system.empty() || (!system.starts_with("525") && !system.starts_with("625"))) return;
  const bool match = site.system.substr(0, 3) == system.substr(0, 3) && !system.ends_with("4.43");
  out.word("video.system.match", match ? "as expected" : "other", from, system);
}

void gather_video(const Capture& c, const Site& site, Gatherer& out) {
  const Readings& r = c.readings;
  const auto signal = text_of(r, "video.signal");
  if (!signal) return;
  out.word("video.signal", *signal, c.name);
  if (*signal == "none") return;  // nothing else of it means anything
  const std::string system = text_of(r, "video.system").value_or("");
  const standards::VideoStandard& nominal = standards::standard_of(system.starts_with("625") ? 625 : 525);
  gather_system(system, site, c.name, out);
  if (const auto p = text_of(r, "video.polarity")) out.word("video.polarity", *p, c.name);
  if (const auto i = text_of(r, "video.interlaced")) {
    const auto lines = number_of(r, "video.lines_per_frame");
    out.word("video.interlaced", *i, c.name, lines ? fmt::format("{:.0f} lines", lines->value) : "");
  }
  levels(c, site, nominal, out);
  if (const auto missing = number_of(r, "video.sync.missing")) {
    const double lines = c.facts.duration_s() * nominal.line_rate_hz.value();
    // Without a length known to the facts the count is taken as of one second.
    const double thousands = (lines > 0 ? lines : 15700) / 1000;
    out.number("video.sync.missing", missing->value / thousands, 2 * std::sqrt(missing->value) / thousands,
               c.name, fmt::format("{:.0f} in all", missing->value));
  }
  out.amount("video.sync.jitter", r, "video.sync.jitter", c.name);
  hum(c, out);
  noise(c, out);
  if (const auto n = number_of(r, "video.impulses")) {
    out.number("video.impulses", n->value, n->u, c.name);
    if (const auto with = text_of(r, "video.impulses.rhythm"))
      out.word("video.impulses.rhythm", *with, c.name);
  } else if (const auto b = bound_of(r, "video.impulses")) {
    out.bound("video.impulses", *b, 0, c.name);
  }
  gather_tone(c, "video.noise.periodic", 1, test_picture(r), out);
  if (const auto e = number_of(r, "video.echo.level")) {
    out.number("video.echo.level", e->value, e->u, c.name);
    if (const auto d = number_of(r, "video.echo.polarity"))
      out.word("video.echo.polarity", d->value < 0 ? "reversed" : "same", c.name);
  }
  if (const Reading* e = find_reading(r, "video.echo.level");
      e != nullptr && e->reason.find("something like an echo") != std::string::npos)
    out.word("video.echo.trace", "something like an echo", c.name,
             "how late and how strong cannot be told: send a 2T pulse");
  // That none was found holds from half a microsecond on, as after a stub of 50 m: most are shorter.
  // Edges that are bent by more than echoes show no cable's loss either.
  const Reading* echo = find_reading(r, "video.echo.level");
  const bool bent = echo != nullptr && !echo->measured() && !echo->at_most;
  if (const auto loss = number_of(r, "video.cable.loss"); loss && !bent)
    out.number("video.cable.loss", loss->value, loss->u, c.name);
  // Without colour, bars are a staircase of unequal steps: no non-linearity.
  const bool grey = !number_of(r, "video.burst.amplitude");
  for (const char* id : {"video.differential_gain", "video.nonlinearity"})
    if (!grey) out.amount("video.nonlinearity", r, id, c.name);
  bent_colours(c, nominal, out);
  out.amount("video.field_tilt", r, "video.field_tilt", c.name);
}

}  // namespace linebench::diagnose
