// Signs from audio readings.
#include <algorithm>
#include <array>
#include <cstdlib>
#include <linebench/base/decibel.hpp>
#include <linebench/diagnose/idle.hpp>
#include <linebench/dsp/quantile.hpp>
#include <linebench/standards/weighting.hpp>
#include <map>
#include <numbers>

#include "gather.hpp"
#include "gather_multiples.hpp"
#include "gather_rail.hpp"

namespace linebench::diagnose {
namespace {

constexpr double line_up_dbfs = -18;       // [EBU R 68]
constexpr double programme_lufs = -23;     // [EBU R 128]
constexpr double hum_worth_placing = -78;  // dBFS; weaker hum says nothing about where it comes from
// dBFS. Hum above it is gross whatever makes it, or the input's gain is up: its shape says the kind, not how
// far above it stands.
constexpr double hum_gross = -28;
constexpr double hum_that_clips = -15;  // dBFS; takes the room that tone and programme need
constexpr double field_rate_525_hz = 60000.0 / 1001.0;
constexpr double sent_near_line_up_db =
    8;                                 // how near to it a test tone is sent, where nothing is known (k=2)
constexpr double line_up_u_db = 1;     // how near to 0 dBu a site is lined up, where volts are known (k=2)
constexpr double least_step_db = 0.2;  // of a tone that holds its level; smaller steps are not looked for

// What a level in dBFS stands for on the line.
struct Scaling {
  double line_up_dbfs = 0;  // add to a level against -18 dBFS to have it against 0 dBu
  double u = 0;             // k=2
  const char* remark = "";
};

Scaling scaling_of(const CaptureFacts& facts) {
  if (!facts.full_scale_v) return {0, unknown_gain_db, "input not calibrated in volts"};
  constexpr double zero_dbu_v = 0.774597;  // 1 mW in 600 ohm
  const double full_scale_dbu = db_from_amplitude(*facts.full_scale_v / std::numbers::sqrt2 / zero_dbu_v);
  return {full_scale_dbu + line_up_dbfs, line_up_u_db, ""};
}

struct Path {  // one channel of one capture
  const Capture* capture = nullptr;
  std::string suffix, name;
  std::optional<double> hum_db;  // strongest hum there, measured or bounded
  double hum_hz = 0;             // where it was found
  bool hum_found = false;
};

struct Share {
  double power = 0;
  double u_db = 0;
  void add(double db, double u) {
    const double p = power_from_db(db);
    if (p > power) u_db = u;  // the strongest multiple rules
    power += p;
  }
};

const char* class_of(int n) {
  if (n == 1) return "audio.hum.fundamental";
  if (n > 10) return "audio.hum.upper";
  if (n % 2 == 0) return "audio.hum.even";
  return n % 3 == 0 ? "audio.hum.triplen" : "audio.hum.odd";
}

constexpr const char* hum_classes[] = {"audio.hum.fundamental", "audio.hum.even", "audio.hum.triplen",
                                       "audio.hum.odd", "audio.hum.upper"};

// Nobody said that two lines were recorded, nor sent a test signal down them.
bool may_be_one_line(const Capture& c, const Site& site) {
  return site.sides != "two" && c.facts.signal.empty();
}

// A channel that adds no path to that of the other: the same line again, or an input with nothing in it.
bool no_path_of_its_own(const Capture& c, const std::string& suffix, const Site& site) {
  const auto sides = text_of(c.readings, "audio.pair.sides");
  if (!sides || !may_be_one_line(c, site)) return false;
  return *sides == "right only" ? suffix == ".left"
                                : suffix == ".right" && *sides != "both" && *sides != "none";
}

// Levels of the mains multiples by class, and their A-weighted sum.
void hum_classes_of(const Path& p, Gatherer& out) {
  const Readings& r = p.capture->readings;
  if (!p.hum_found) {
    for (const char* id : hum_classes) out.bound(id, *p.hum_db, 0, p.name);
    return;
  }
  std::map<std::string, Share> classes;
  double weakest = *p.hum_db;
  for (int n = 1; n <= most_multiples; ++n) {
    const auto h = number_of(r, fmt::format("audio.hum.harmonic.{}{}", n, p.suffix));
    if (!h) continue;
    classes[class_of(n)].add(h->value, h->u);
    weakest = std::min(weakest, h->value);
  }
  if (classes.empty()) return;
  if (const double tail = hum_tail(r, p.suffix); tail > 0)
    classes["audio.hum.upper"].add(db_from_power(tail), number_of(r, "audio.hum.level" + p.suffix)->u);
  const double above = std::max(0.0, *p.hum_db - hum_gross);
  const std::string remark = above > 0 ? fmt::format("all multiples {:.1f} dBFS", *p.hum_db) : "";
  for (const char* id : hum_classes) {
    const auto it = classes.find(id);
    if (it == classes.end()) {
      // Not found beside the others: it is no stronger than the weakest that was.
      out.bound(id, weakest + 3 - above, 0, p.name);
    } else {
      out.number(id, db_from_power(it->second.power) - above, it->second.u_db, p.name);
    }
  }
}

void hum_of(const std::vector<Path>& paths, Gatherer& out) {
  const Path* strongest = nullptr;
  for (const Path& p : paths) {
    if (!p.hum_db) continue;
    if (strongest == nullptr || (p.hum_found && !strongest->hum_found) ||
        (p.hum_found == strongest->hum_found &&
         (p.hum_found ? *p.hum_db > *strongest->hum_db : *p.hum_db < *strongest->hum_db))) {
      strongest = &p;
    }
  }
  if (strongest == nullptr) return;
  hum_classes_of(*strongest, out);
  std::map<std::string, std::size_t> places;  // by what was sent: another signal shows the same places again
  const bool line_counts = strongest->capture->along_path > 0;
  for (const Path& p : paths)
    places[p.capture->facts.signal] += p.hum_db && p.capture->along_path == 0 ? 1 : 0;
  std::size_t most = 1;
  for (const auto& [signal, n] : places) most = std::max(most, n + (line_counts ? 1 : 0));
  for (const char* id : hum_classes) out.chosen_of(id, most);
  if (!strongest->hum_found || *strongest->hum_db < hum_worth_placing) return;
  // Along one line the hum that came in shows at every place behind: the line counts once, by its strongest.
  int with = line_counts ? 1 : 0;
  int without = 0;
  for (const Path& p : paths) {
    if (!p.hum_db || p.capture->along_path > 0) continue;
    if (p.hum_found && !one_mains(p.hum_hz, strongest->hum_hz)) continue;
    if (p.hum_found && *p.hum_db > *strongest->hum_db - 10) {
      ++with;
    } else if (*p.hum_db < *strongest->hum_db - 10) {
      ++without;
    }
  }
  if (with + without < 2) return;
  out.word("audio.hum.where", with > 1 && without <= with / 2 ? "everywhere" : "one path",
           fmt::format("{} of {} paths", with, with + without));
}

void hum_rate_of(const Path& p, std::optional<Number> field, Gatherer& out) {
  const auto f = number_of(p.capture->readings, "audio.hum.frequency" + p.suffix);
  const auto level = number_of(p.capture->readings, "audio.hum.level" + p.suffix);
  if (!f || !level || level->value < hum_worth_placing) return;
  constexpr double field_rate_625_hz = 50;
  const bool of_625 = !field && std::abs(f->value - field_rate_625_hz) < 3;
  const Number rate = field.value_or(Number{of_625 ? field_rate_625_hz : field_rate_525_hz, 0.001});
  const double u = std::hypot(f->u, rate.u) + 0.002;
  const double apart = std::abs(f->value - rate.value);
  const std::string remark = fmt::format("{:.3f} Hz, field {:.3f} Hz", f->value, rate.value);
  // Mains that happens to stand at the field rate looks the same, so "mains" is said only where they are
  // apart. At 50.00 Hz it stands there one time in four, for it wanders by some 0.02 Hz [EN 50160 allows
  // 1 %; the rest is the project's estimate].
  const bool could_be_nominal = std::abs(f->value - std::round(f->value / 10) * 10) < u;
  if (apart < u && u < 0.02) {
    if (!could_be_nominal || of_625)
      out.word("audio.hum.rate", of_625 ? "either" : "video field", p.name, remark);
  } else if (apart > 1.5 * u && apart < 3) {
    out.word("audio.hum.rate", "mains", p.name, remark);
  }
}

// Hum so strong that it, not the signal, drives the path into its ends.
bool cut_by_hum(const Readings& r, const std::string& suffix) {
  const auto hum = number_of(r, "audio.hum.level" + suffix);
  return hum && hum->value > hum_that_clips;
}

// Pauses of a tone that goes on and off by itself, as the count of dropouts says beside it.
double keyed_pauses(const Readings& r, const std::string& suffix) {
  const Reading* gaps = find_reading(r, "audio.dropout.count" + suffix);
  const auto at =
      gaps == nullptr ? std::string::npos : gaps->reason.find(" pauses on the cadence of a keyed");
  if (at == std::string::npos) return 0;
  const auto digits = gaps->reason.find_last_not_of("0123456789", at - 1);
  return std::strtod(gaps->reason.c_str() + (digits == std::string::npos ? 0 : digits + 1), nullptr);
}

void levels_of(const Capture& c, const std::string& suffix, const std::string& name, Gatherer& out) {
  const Readings& r = c.readings;
  const Sent sent = sent_on(c, suffix);
  const auto rms = number_of(r, "audio.level.rms" + suffix);
  const auto tone = number_of(r, "audio.tone.level" + suffix);
  const Scaling scaling = scaling_of(c.facts);
  // Digital line-up; in volts it is the same whatever it is called in dBFS.
  const bool rp155 = !c.facts.full_scale_v && c.facts.signal.find("rp155") != std::string::npos;
  const double against = scaling.line_up_dbfs - (rp155 ? -20.0 : line_up_dbfs);
  if (sent == Sent::Tone && tone) {
    const Support support = c.facts.full_scale_v ? Support::Good : Support::Weak;
    const double u = std::hypot(tone->u, scaling.u);
    // A rail that stands at what is sent cuts what is right as well: how far it goes above says nothing.
    constexpr double rail_far_db = 10;
    const bool near = c.facts.full_scale_v && against < rail_far_db;
    const auto above = cut_at_rail(c, suffix) && !near ? level_above_rail(c, suffix) : std::nullopt;
    if (above && above->value > tone->value) {
      out.number("audio.level.tone", above->value + against, std::hypot(above->u, scaling.u), name,
                 "by how long its tops are cut", support);
    } else if (cut_at_rail(c, suffix)) {
      out.at_least("audio.level.tone", tone->value + against, u, name, scaling.remark, support);
    } else {
      out.number("audio.level.tone", tone->value + against, u, name, scaling.remark, support);
    }
    if (const auto thd = number_of(r, "audio.thd" + suffix); thd && !cut_by_hum(r, suffix))
      out.number("audio.thd", thd->value, thd->u, name);
  } else if (sent == Sent::Tone && rms) {
    out.bound("audio.level.tone", rms->value + against, scaling.u, name);
  }
  if (const auto step = number_of(r, "audio.tone.step" + suffix);
      step && sent == Sent::Tone && keyed_pauses(r, suffix) == 0) {
    out.number("audio.level.step", std::abs(step->value), step->u, name);
  } else if (sent == Sent::Tone && tone) {
    out.bound("audio.level.step", least_step_db + 2 * tone->u, 0, name);
  }
  if (const auto loud = number_of(r, "audio.loudness.integrated"); loud && sent == Sent::Programme) {
    out.number("audio.level.programme",
               loud->value + (c.facts.channels == 1 ? 3 : 0) - programme_lufs + scaling.line_up_dbfs,
               std::hypot(loud->u, scaling.u), name, scaling.remark);
  }
}

// Whether a phone's bursts make moments of their own: rectangles, whose edges look like gaps and whose flat
// tops look cut.
bool bursts_stand(const Capture& c, const std::string& suffix) {
  constexpr double bursts_count_db = 20;  // so far below what is sent they do so no more
  const auto bursts = number_of(c.readings, "audio.phone_burst.level" + suffix);
  const auto rms = number_of(c.readings, "audio.level.rms" + suffix);
  return bursts && rms && bursts->value > rms->value - bursts_count_db;
}

// Whether gaps mean something: in a tone or a programme; between the bursts of what is picked up nothing is
// missing.
bool gaps_count(const Capture& c, const std::string& suffix) {
  return sent_on(c, suffix) != Sent::Idle && !bursts_stand(c, suffix);
}

std::optional<Number> gaps_of(const Capture& c, const std::string& suffix) {
  if (!gaps_count(c, suffix)) return std::nullopt;
  return number_of(c.readings, "audio.dropout.count" + suffix);
}

// Where a microphone is open, clicks weaker than what is said may be keys and knocks that it hears; a contact
// breaks the sound itself, and makes them as strong.
bool may_be_heard(const Capture& c, const std::string& suffix) {
  const Reading* times = find_reading(c.readings, "audio.click.times" + suffix);
  const auto rms = number_of(c.readings, "audio.level.rms" + suffix);
  const auto* curve = times == nullptr ? nullptr : std::get_if<Curve>(&times->value);
  if (curve == nullptr || curve->y.empty() || !rms || sent_on(c, suffix) != Sent::Programme) return false;
  return dsp::median(curve->y) < amplitude_from_db(rms->value);
}

void events_of(const Capture& c, const std::string& suffix, const std::string& name, Gatherer& out) {
  const double minutes = c.facts.duration_s() / 60;
  if (!(minutes > 0)) return;
  const auto rate = [&](const std::optional<Number>& n, const char* sign) {
    if (!n) return;
    // None in a short capture bounds the rate; it does not make it nought.
    if (n->value == 0 && minutes < 1) {
      out.bound(sign, 0.7 / minutes, 0, name);
    } else {
      out.number(sign, n->value / minutes, 2 * std::sqrt(n->value) / minutes, name,
                 fmt::format("{:.0f} found", n->value));
    }
  };
  // Tops that are cut have corners, which look like clicks; a click of its own reaches the rail for a few
  // samples.
  constexpr double samples_of_a_click = 30;
  const auto clicks = number_of(c.readings, "audio.click.count" + suffix);
  const auto cut = number_of(c.readings, "audio.clip.samples" + suffix);
  const bool corners = clicks && clicks->value > 0 && cut && cut->value > samples_of_a_click * clicks->value;
  const bool heard = clicks && clicks->value > 0 && may_be_heard(c, suffix);
  if (corners || heard) {
    out.bound("audio.click", clicks->value / minutes, 0, name);
    constexpr double many_a_minute = 15;
    if (heard && clicks->value / minutes > many_a_minute)
      out.word("audio.click.heard", "many", name, fmt::format("{:.0f} found", clicks->value));
  } else {
    rate(clicks, "audio.click");
  }
  // Beside pauses on a cadence the others may be keyed as well: a melody has many lengths.
  const auto gaps = gaps_of(c, suffix);
  if (gaps && gaps->value > 0 && keyed_pauses(c.readings, suffix) > gaps->value) {
    out.bound("audio.dropout", gaps->value / minutes, 0, name);
  } else {
    rate(gaps, "audio.dropout");
  }
  if (const auto b = bound_of(c.readings, "audio.dropout.count" + suffix); b && gaps_count(c, suffix))
    out.bound("audio.dropout", *b / minutes, 0, name);
  if (cut_by_hum(c.readings, suffix)) return;
  if (const auto n = number_of(c.readings, "audio.clip.samples" + suffix)) {
    const auto at = number_of(c.readings, "audio.clip.level" + suffix);
    const bool at_rail = cut_at_rail(c, suffix);
    if (bursts_stand(c, suffix) && !at_rail) return;
    out.number("audio.clip", n->value / minutes, 2 * std::sqrt(n->value) / minutes, name);
    if (n->value > 0 && at) out.word("audio.clip.where", at_rail ? "at the rail" : "below it", name);
  }
}

// Gaps that every path has at once are the recorder's; a contact's are its own path's.
void events_where(const std::vector<Capture>& captures, Gatherer& out) {
  std::vector<double> rates, worst;
  for (const Capture& c : captures) {
    const double minutes = c.facts.duration_s() / 60;
    if (!(minutes > 0) || c.along_path > 0) continue;
    std::vector<double> here;
    for (const std::string& suffix : suffixes_of(c)) {
      const auto clicks = number_of(c.readings, "audio.click.count" + suffix);
      const auto gaps = gaps_of(c, suffix);
      if (clicks || gaps) here.push_back(((clicks ? clicks->value : 0) + (gaps ? gaps->value : 0)) / minutes);
    }
    rates.insert(rates.end(), here.begin(), here.end());
    if (!here.empty() && (worst.empty() || std::ranges::max(here) > std::ranges::max(worst))) worst = here;
  }
  // A recorder may lose samples in one take and not in another: then in all channels of that one.
  if (worst.size() > 1) rates = worst;
  if (rates.size() < 2) return;
  const double most = *std::max_element(rates.begin(), rates.end());
  if (most < 4) return;
  const auto with = std::count_if(rates.begin(), rates.end(), [&](double r) { return r > 0.25 * most; });
  const auto all = static_cast<std::ptrdiff_t>(rates.size());
  out.word("audio.events.where", with > 1 && 2 * with > all ? "everywhere" : "one path", "",
           fmt::format("{} of {} paths", with, all));
}

constexpr double of_mains_hz = 1000;  // lower lines may be hum's

// What is sent stands for line-up where volts are not known; programme by its usual distance to it.
Scaling scaling_by_what_is_sent(const Capture& c, const std::string& suffix) {
  const Scaling known = scaling_of(c.facts);
  if (c.facts.full_scale_v) return known;
  const Sent sent = sent_on(c, suffix);
  const auto tone = number_of(c.readings, "audio.tone.level" + suffix);
  if (sent == Sent::Tone && tone)
    return {line_up_dbfs - tone->value, sent_near_line_up_db, "against the tone"};
  const auto programme = number_of(c.readings, "audio.programme.level" + suffix);
  constexpr double usual_db = -5;    // -23 LUFS [EBU R 128] against -18 dBFS [EBU R 68]
  constexpr double usual_u_db = 12;  // k=2, the project's estimate
  if (sent == Sent::Programme && programme)
    return {line_up_dbfs + usual_db - programme->value, usual_u_db, "against the programme"};
  return known;
}

// A line that sounds on under whatever else is there.
void whine_of(const Capture& c, const std::string& suffix, const std::string& name, Gatherer& out) {
  const auto level = number_of(c.readings, "audio.whine.level" + suffix);
  const auto hz = number_of(c.readings, "audio.whine.frequency" + suffix);
  const Scaling scaling = scaling_by_what_is_sent(c, suffix);
  if (level && hz && hz->value >= of_mains_hz) {
    out.number("audio.whine", level->value + scaling.line_up_dbfs, std::hypot(level->u, scaling.u), name,
               fmt::format("{:.0f} Hz", hz->value));
  } else if (const auto b = bound_of(c.readings, "audio.whine.level" + suffix)) {
    out.bound("audio.whine", *b + scaling.line_up_dbfs, scaling.u, name);
  }
}

void interference_of(const Capture& c, const std::string& suffix, const std::string& name, Gatherer& out) {
  const Readings& r = c.readings;
  for (const auto& [id, sign] : {std::pair{"audio.whistle.level", "audio.whistle.level"},
                                 std::pair{"audio.phone_burst.level", "audio.phone_burst.level"}}) {
    if (const auto v = number_of(r, id + suffix)) {
      out.number(sign, v->value, v->u, name);
    } else if (const auto b = bound_of(r, id + suffix)) {
      out.bound(sign, *b, 0, name);
    }
  }
  whine_of(c, suffix, name, out);
  const auto noise = number_of(r, "audio.noise.a" + suffix);
  const Sent sent = sent_on(c, suffix);
  // Beside bursts, sweeps or programme what is left over is no noise of the path's.
  if (!noise || (sent != Sent::Tone && sent != Sent::Idle)) return;
  double rest = power_from_db(noise->value) - hum_a_weighted(r, suffix);
  const auto whistle = number_of(r, "audio.whistle.level" + suffix);
  if (const auto hz = number_of(r, "audio.whistle.frequency" + suffix); whistle && hz)
    rest -= power_from_db(whistle->value + standards::a_weighting_db(hz->value));
  const auto tone = number_of(r, "audio.tone.level" + suffix);
  const Scaling scaling = scaling_by_what_is_sent(c, suffix);
  // Hum's and a whistle's share is taken out; where hum rules, goes on above the highest multiple that is
  // reported, or clicks and gaps are in the sum, the hiss is only bounded.
  const auto events = [&](const char* id) {
    const auto n = number_of(r, id + suffix);
    return n ? n->value : 0.0;
  };
  const bool clean = events("audio.click.count") + events("audio.dropout.count") == 0;
  rest -= hum_tail(r, suffix);
  // A steady tone in what is else idle, weaker than any that is sent.
  const auto hz = number_of(r, "audio.tone.frequency" + suffix);
  if (sent == Sent::Idle && c.facts.signal.empty() && tone && tone->value < idle_dbfs && hz &&
      hz->value >= of_mains_hz)
    out.number("audio.whine", tone->value + scaling.line_up_dbfs, scaling.u, name,
               fmt::format("{:.0f} Hz", hz->value));
  if (const auto line = number_of(r, "audio.whine.level" + suffix)) {
    const auto at = number_of(r, "audio.whine.frequency" + suffix);
    if (at) rest -= power_from_db(line->value + standards::a_weighting_db(at->value));
  }
  if (clean && !hum_goes_on(r, suffix) && rest > 0.3 * power_from_db(noise->value)) {
    out.number("audio.noise.hiss", db_from_power(rest) + scaling.line_up_dbfs,
               std::hypot(noise->u, scaling.u), name, scaling.remark);
  } else {
    out.bound("audio.noise.hiss", noise->value + scaling.line_up_dbfs, scaling.u, name);
  }
}

bool one_side(const std::string& sides) { return sides == "left only" || sides == "right only"; }

void sides_of(const Capture& c, const Site& site, Gatherer& out) {
  const Readings& r = c.readings;
  const Sent left = sent_on(c, ".left");
  const Sent right = sent_on(c, ".right");
  // Where nothing is sent nothing crosses: what two idle lines share comes from outside, hum above all.
  if (left != Sent::Idle || right != Sent::Idle) {
    if (const auto x = number_of(r, "audio.pair.crosstalk")) {
      out.number("audio.pair.crosstalk", x->value, x->u, c.name);
    } else if (const auto b = bound_of(r, "audio.pair.crosstalk")) {
      out.bound("audio.pair.crosstalk", *b, 0, c.name);
    }
  }
  // Sides of a programme are the source's matter, those of a test signal two lines'.
  if (left == Sent::Idle && right == Sent::Idle) return;
  const bool programme = left == Sent::Programme || right == Sent::Programme;
  const std::string group = programme ? "audio.programme." : "audio.pair.";
  // Where all that both share is a tone and none was sent, or where hum rules a side, it is hum that they
  // share.
  const Reading* delay = find_reading(r, "audio.pair.delay");
  const bool of_tones = delay != nullptr && !delay->measured();
  const bool hum =
      c.facts.signal.empty() && (ruled_from_outside(r, ".left") || ruled_from_outside(r, ".right"));
  const bool shared = !hum && (!of_tones || (left == Sent::Tone && right == Sent::Tone));
  if (const auto p = number_of(r, "audio.pair.polarity"); p && shared)
    out.word(group + "polarity", p->value < 0 ? "reversed" : "same", c.name);
  const bool sides_meant = c.facts.signal.find("left-right") == std::string::npos;
  if (!sides_meant) return;
  // One line recorded in two channels looks like a source or a pair of which one side is lost, and a mono
  // source is right where mono was promised: what was meant must be told.
  const auto sides = text_of(r, "audio.pair.sides");
  if (site.sides == "one" || (may_be_one_line(c, site) && sides && *sides != "both")) return;
  if (const auto g = number_of(r, "audio.pair.gain"); g && shared)
    out.number(group + "gain", std::abs(g->value), g->u, c.name);
  if (sides) out.word(group + "sides", one_side(*sides) ? "one only" : *sides, c.name, *sides);
}

}  // namespace

std::optional<Evidence> nothing_sent(const std::vector<Capture>& captures) {
  Evidence e{"audio.signal", 0, 0, false, 1, "idle", "nothing that was sent (idle)", ""};
  for (const Capture& c : captures) {
    for (const std::string& suffix : suffixes_of(c)) {
      if (!number_of(c.readings, "audio.level.rms" + suffix)) continue;
      if (c.facts.signal.starts_with("silence") || sent_on(c, suffix) != Sent::Idle) return std::nullopt;
      e.from = c.name;
    }
  }
  return e.from.empty() ? std::nullopt : std::optional(e);
}

void gather_audio(const std::vector<Capture>& captures, const Site& site, Gatherer& out) {
  std::optional<Number> field;
  for (const Capture& c : captures) {
    if (const auto f = number_of(c.readings, "video.field.frequency")) field = f;
  }
  std::vector<Path> paths;
  for (const Capture& c : captures) {
    out.begin(c.facts.signal);
    for (const std::string& suffix : suffixes_of(c)) {
      Path p{&c, suffix, suffix.empty() ? c.name : c.name + ", " + suffix.substr(1), std::nullopt, false};
      if (const auto hum = number_of(c.readings, "audio.hum.level" + suffix)) {
        p.hum_db = hum->value;
        p.hum_found = !may_be_a_tone(c, suffix);
        p.hum_hz = number_of(c.readings, "audio.hum.frequency" + suffix).value_or(Number{}).value;
      } else {
        p.hum_db = bound_of(c.readings, "audio.hum.level" + suffix);
      }
      levels_of(c, suffix, p.name, out);
      events_of(c, suffix, p.name, out);
      interference_of(c, suffix, p.name, out);
      gather_response(c, suffix, p.name, out);
      hum_rate_of(p, field, out);
      if (!no_path_of_its_own(c, suffix, site)) paths.push_back(std::move(p));
    }
    sides_of(c, site, out);
    if (const auto loss = loss_before(captures, c)) gather_loss(*loss, out);
  }
  out.begin({});
  hum_of(paths, out);
  events_where(captures, out);
}

}  // namespace linebench::diagnose
