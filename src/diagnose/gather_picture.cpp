// Signs from the picture view, and what captures of several views say together.
#include <cmath>
#include <cstdlib>
#include <linebench/base/decibel.hpp>
#include <numbers>

#include "gather.hpp"

namespace linebench::diagnose {
namespace {

// Public and generator mains; what keeps time outside is no mains hum.
constexpr double least_mains_hz = 45;
constexpr double most_mains_hz = 66;

// Which multiple of the mains a frequency is; 0: none of the first three.
int multiple_of_mains(double hz) {
  for (int n = 1; n <= 3; ++n) {
    if (hz >= n * least_mains_hz && hz <= n * most_mains_hz) return n;
  }
  return 0;
}

struct Hum {
  Number hz;
  std::string from;
};

std::optional<Hum> hum_frequency(const std::vector<Capture>& captures, std::string_view prefix) {
  std::optional<Hum> best;
  for (const Capture& c : captures) {
    if (!prefix.starts_with("audio.") &&
        !hum_frequency_of(c.readings, std::string(prefix.substr(0, prefix.rfind('.')))))
      continue;
    for (const Reading& r : c.readings) {
      if (!r.id.starts_with(prefix) || !std::holds_alternative<double>(r.value) || !r.uncertainty) continue;
      const int n = multiple_of_mains(r.number());
      if (n == 0) continue;
      if (!best || *r.uncertainty / n < best->hz.u) best = Hum{{r.number() / n, *r.uncertainty / n}, c.name};
    }
  }
  return best;
}

// How a hum bar moves, as one sees it.
std::string pace(double bars_a_second) {
  const double size = std::abs(bars_a_second);
  const std::string often =
      size < 0.5 ? fmt::format("a bar every {:.0f} s", 1 / size) : fmt::format("{:.1f} bars a second", size);
  return often + (bars_a_second > 0 ? ", upwards" : ", downwards");
}

// A grey field, a staircase or a multiburst has none to lose.
bool colour_expected(const Readings& r) {
  const std::string pattern = text_of(r, "picture.pattern").value_or("none");
  return pattern == "none" || pattern.starts_with("bars");
}

// Where the frames without signal are the last ones, and so many that nothing makes and breaks: since when.
std::string gone_for_good(const Capture& c, double lost) {
  constexpr double at_least_s = 0.3;
  const std::string& reason = find_reading(c.readings, "picture.signal.lost")->reason;
  const std::string_view at = "the first at ";
  const auto place = reason.find(at);
  if (place == std::string::npos || c.facts.frames <= 0 || !(c.facts.duration_s() > 0)) return {};
  const double first_s = std::strtod(reason.c_str() + place + at.size(), nullptr);
  const double frame_s = c.facts.duration_s() / static_cast<double>(c.facts.frames);
  const double left_s = c.facts.duration_s() - first_s;
  if (lost * frame_s < at_least_s || std::abs(left_s - lost * frame_s) > frame_s) return {};
  return fmt::format("gone from {:.2f} s to the end", first_s);
}

// Noise that stands against a weak edge once in a capture is taken for a line that stands elsewhere.
void tear(const Capture& c, Gatherer& out) {
  constexpr double noisy_codes = 3;
  const Reading* t = find_reading(c.readings, "picture.tear");
  const auto noise = number_of(c.readings, "picture.noise");
  if (t != nullptr && t->measured() && noise && noise->value > noisy_codes &&
      t->reason.find("in 1 of ") != std::string::npos) {
    out.bound("picture.tear", std::abs(t->number()) + t->uncertainty.value_or(0), 0, c.name);
  } else {
    out.amount("picture.tear", c.readings, "picture.tear", c.name);
  }
}

// How the bars' colours differ from the table's, where no one turn makes them right.
const char* colour_parts(const std::string& reason) {
  static constexpr std::pair<std::string_view, const char*> said[] = {{"in each other's place", "exchanged"},
                                                                      {"is upside down", "one upside down"},
                                                                      {"is lost", "one lost"},
                                                                      {"another colour system", "other"}};
  for (const auto& [part, word] : said) {
    if (reason.find(part) != std::string::npos) return word;
  }
  return nullptr;
}

// Bars alone say what colour should be.
void colours(const Capture& c, Gatherer& out) {
  const Readings& r = c.readings;
  const Reading* hue = find_reading(r, "picture.hue");
  const Reading* gain = find_reading(r, "picture.saturation");
  if (hue != nullptr && hue->measured()) {
    out.amount("picture.hue", r, "picture.hue", c.name);
    out.word("picture.colour.parts", "right", c.name);
  } else if (hue != nullptr) {
    if (const char* word = colour_parts(hue->reason); word != nullptr)
      out.word("picture.colour.parts", word, c.name);
  }
  if (text_of(r, "picture.colour").value_or("") == "none" || gain == nullptr) return;
  if (gain->measured() && gain->number() > 0) {
    out.number("picture.saturation", db_from_amplitude(gain->number()),
               8.686 * gain->uncertainty.value_or(0) / gain->number(), c.name);
  } else if (!gain->measured() && gain->reason.find("are cut off where codes end") != std::string::npos) {
    // Green and magenta are the last to be: 94 codes off the middle of 126 in full bars, 70 in bars of 75 %.
    const bool full = text_of(r, "picture.pattern") == "bars-100";
    const double least_db = db_from_amplitude(126.0 / (full ? 94 : 70));
    constexpr double beyond_db = 1;  // what is cut off stands somewhere above, by as much as this as a rule
    out.number("picture.saturation", least_db + beyond_db, beyond_db, c.name,
               fmt::format("{:.1f} dB at least: colours are cut off", least_db));
  }
}

// Black is 16 of 219 codes [BT.601].
void black(const Capture& c, Gatherer& out) {
  const auto b = number_of(c.readings, "picture.luma.black");
  if (!b) return;
  out.number("picture.black", 100 * (b->value - 16) / 219, 100 * b->u / 219, c.name,
             fmt::format("code {:.1f}", b->value));
}

// Share of pixels whose noise alone reaches the ends of the codes, 1 and 254, %: at most that of a picture
// which stands at black and white throughout [the normal distribution's tails]. 0 where black or white stands
// there by itself.
double clipped_by_noise(const Readings& r) {
  const auto noise = number_of(r, "picture.noise");
  const auto gain = number_of(r, "picture.luma.gain");
  const double black = number_of(r, "picture.luma.black").value_or(Number{16, 0}).value;
  const double white = black + 2.19 * (gain ? gain->value : 100);
  constexpr double first = 1.5, last = 253.5;  // rounded to the ends from there on
  if (!noise || !(noise->value > 0) || black < first || white > last) return 0;
  const auto beyond = [&](double codes) {
    return 50 * std::erfc(codes / (noise->value + 0.5 * noise->u) / std::numbers::sqrt2);
  };
  return beyond(black - first) + beyond(last - white);
}

// What hum or noise lifts over the codes' ends is theirs, and no level's that is too high.
void clipped(const Capture& c, Gatherer& out) {
  const Readings& r = c.readings;
  // Strong hum lifts white, at 235, over the end of the codes, at 254, whatever the source sends [BT.601].
  constexpr double hum_that_clips_percent = 2 * 100 * (254 - 235) / 219.0;
  const auto hum = number_of(r, "picture.hum.level");
  if (hum && hum->value >= hum_that_clips_percent) return;
  const auto share = number_of(r, "picture.clipped");
  if (share && share->value > 0 && share->value < clipped_by_noise(r)) return;
  out.amount("picture.clipped", r, "picture.clipped", c.name);
}

void lost_frames(const Capture& c, Gatherer& out) {
  const Readings& r = c.readings;
  const auto dropped = number_of(r, "picture.frames.dropped");
  const auto doubled = number_of(r, "picture.frames.duplicated");
  const double frames = static_cast<double>(c.facts.frames);
  if ((dropped || doubled) && frames > 0) {
    const double lost = (dropped ? dropped->value : 0) + (doubled ? doubled->value : 0);
    out.number("picture.frames.lost", 1000 * lost / frames, 2000 * std::sqrt(lost) / frames, c.name);
  }
}

}  // namespace

void gather_picture(const Capture& c, const Site& site, Gatherer& out) {
  const Readings& r = c.readings;
  const auto signal = text_of(r, "picture.signal");
  if (!signal) return;
  const auto lost = number_of(r, "picture.signal.lost");
  const std::string gone = lost && lost->value > 0 ? gone_for_good(c, lost->value) : "";
  out.word("picture.signal", gone.empty() ? *signal : "none", c.name, gone);
  if (*signal == "none") return;
  gather_system(text_of(r, "picture.system").value_or(""), site, c.name, out);
  // Frames that came without a signal are a contact that makes and breaks. They were seen, so that chance
  // bears on how many there are and not on whether there are any.
  if (lost && lost->value > 0 && c.facts.frames > 0 && gone.empty()) {
    const double frames = static_cast<double>(c.facts.frames);
    out.number("picture.signal.lost", 1000 * lost->value / frames, 1000 * std::sqrt(lost->value) / frames,
               c.name, fmt::format("{:.0f} in all", lost->value));
  }
  if (const auto colour = text_of(r, "picture.colour"); colour && (*colour != "none" || colour_expected(r)))
    out.word("picture.colour", *colour, c.name);
  // Bars that stand still on a wall or a card may be its shading; on a pattern that was sent they are not.
  const Reading* bars = find_reading(r, "picture.hum.level");
  const bool shading = bars != nullptr && bars->reason.find("it stands still") != std::string::npos &&
                       text_of(r, "picture.pattern") == "flat";
  if (!shading) out.amount("picture.hum.level", r, "picture.hum.level", c.name);
  if (const auto hz = hum_frequency_of(r, "picture.hum"); hz && !shading) {
    static constexpr const char* words[] = {"fundamental", "even", "odd"};
    if (const int n = multiple_of_mains(hz->value); n > 0)
      out.word("picture.hum.pattern", words[n - 1], c.name, fmt::format("{:.2f} Hz", hz->value));
  }
  if (const auto bar = number_of(r, "picture.hum.bar_rate")) {
    if (std::abs(bar->value) > 1.5 * bar->u && std::abs(bar->value) > 0.01) {
      out.word("picture.lock", "roll", c.name, pace(bar->value));
    } else if (bar->u < 0.01) {
      out.word("picture.lock", "stand still", c.name);
    }
  }
  bool rolls = false;
  if (const auto roll = number_of(r, "picture.roll")) {
    rolls = std::abs(roll->value) > std::max(0.5, 1.5 * roll->u);
    const bool turned =
        find_reading(r, "picture.roll")->reason.find("a camera that is turned") != std::string::npos;
    if (!rolls || !turned)
      out.word("picture.roll", rolls ? "rolls" : "steady", c.name,
               fmt::format("{:.1f} lines a frame", roll->value));
  }
  out.amount("picture.jitter", r, "picture.jitter", c.name);
  tear(c, out);
  out.amount("picture.flagging", r, "picture.flagging", c.name);
  out.amount("picture.noise", r, "picture.noise", c.name);
  // As samples tell it: a rate on the wire. That none is seen says less, since a grabber's filter hides short
  // ones.
  if (const auto n = number_of(r, "picture.impulses"); n && n->value > 1)
    out.number("video.impulses", n->value, n->u, c.name);
  constexpr double mv_per_percent = 7;  // white is 700 mV [BT.601, BT.470-6]
  gather_tone(c, "picture.noise.periodic", mv_per_percent,
              text_of(r, "picture.pattern").value_or("none") != "none", out);
  clipped(c, out);
  // That none was found holds from two thirds of a microsecond on: of a nearer one, which the waveform may
  // show, it says nothing.
  if (const auto e = number_of(r, "picture.echo.level"))
    out.number("picture.echo.level", e->value, e->u, c.name);
  // Where the picture rolls, its parts are not where levels and colours are looked for.
  if (rolls) return lost_frames(c, out);
  colours(c, out);
  black(c, out);
  if (const auto g = number_of(r, "picture.luma.gain"); g && g->value > 0)
    out.number("picture.luma.gain", db_from_amplitude(g->value / 100), 8.686 * g->u / g->value, c.name);
  out.amount("picture.level.step", r, "picture.level.step", c.name);
  lost_frames(c, out);
}

namespace {

// One voltage that reaches sound and picture alike shows the same proportions of its multiples in both. Phase
// would say it too, but only of captures taken at one time on one clock.
void hum_shape(const std::vector<Capture>& captures, Gatherer& out) {
  constexpr double audio_worth_dbfs = -78;
  constexpr double video_worth_mv = 4;
  const Capture* audio = nullptr;
  const Capture* video = nullptr;
  std::string suffix;
  double loudest = audio_worth_dbfs;
  double tallest = video_worth_mv;
  for (const Capture& c : captures) {
    for (const std::string& x : suffixes_of(c)) {
      const auto level = number_of(c.readings, "audio.hum.level" + x);
      if (level && level->value > loudest) loudest = level->value, audio = &c, suffix = x;
    }
    const auto level = number_of(c.readings, "video.hum.level");
    if (level && level->value > tallest && find_reading(c.readings, "video.hum.harmonic.1") != nullptr)
      tallest = level->value, video = &c;
  }
  if (audio == nullptr || video == nullptr) return;
  std::vector<double> apart;  // dB of each multiple, video re audio
  for (int n = 1; n <= 6; ++n) {
    const auto a = number_of(audio->readings, fmt::format("audio.hum.harmonic.{}{}", n, suffix));
    const auto v = number_of(video->readings, fmt::format("video.hum.harmonic.{}", n));
    if (a && v && v->value > 0) apart.push_back(db_from_amplitude(v->value) - a->value);
  }
  if (apart.size() < 2) return;
  double mean = 0;
  for (const double x : apart) mean += x / static_cast<double>(apart.size());
  double sum = 0;
  for (const double x : apart) sum += (x - mean) * (x - mean) / static_cast<double>(apart.size() - 1);
  const double spread = std::sqrt(sum);
  if (spread > 3 && spread < 6) return;
  out.word("job.hum.shape", spread <= 3 ? "alike" : "different", audio->name + " and " + video->name,
           fmt::format("{} multiples {:.1f} dB apart from one proportion", apart.size(), spread));
}

}  // namespace

void gather_shared(const std::vector<Capture>& captures, Gatherer& out) {
  const auto audio = hum_frequency(captures, "audio.hum.frequency");
  auto video = hum_frequency(captures, "video.hum.frequency");
  if (!video) video = hum_frequency(captures, "picture.hum.frequency");
  if (!audio || !video) return hum_shape(captures, out);
  const std::string from = audio->from + " and " + video->from;
  const std::string both = fmt::format("{:.3f} Hz and {:.3f} Hz", audio->hz.value, video->hz.value);
  // What no one mains makes has nothing in common.
  if (!one_mains(audio->hz.value, video->hz.value)) return out.word("job.hum", "two mains", from, both);
  hum_shape(captures, out);
  const double u = std::hypot(audio->hz.u, video->hz.u) + 0.003;
  // Two recorders' clocks are known to some hundred parts in a million at worst: 6 mHz at 60 Hz.
  const double apart = std::abs(audio->hz.value - video->hz.value);
  const double clocks = 0.006;
  // Between what is surely one and what is surely two, neither is said.
  const bool one = apart < u + clocks;
  if (u > 0.2 || (!one && apart < 2 * (u + clocks))) return;
  out.word("job.hum", one ? "one mains frequency" : "two frequencies", from, both);
}

}  // namespace linebench::diagnose
