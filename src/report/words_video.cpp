#include "words_video.hpp"

#include "words_both.hpp"

namespace linebench::report {
namespace {

using judge::Side;

struct Entry {
  std::string_view id;  // of the catalogue's kind
  Side side;            // Other: whichever side
  Words words;
};

// What to do is common practice unless it names a standard.
constexpr Entry entries[] = {
    {"video.signal",
     Side::Other,
     {"there is no video", "No composite signal arrives at this point.",
      "Check that the camera has its supply, then follow the coax one connector at a time with the recorder, "
      "from the camera's end; a centre pin that does not reach and a shield off its crimp are the usual "
      "causes."}},
    {"video.system",
     Side::Other,
     {"wrong scanning system", "The source scans with other lines or fields than this limit set expects.",
      "Set the source to the site's system, or judge it by the other limit set."}},
    {"video.polarity",
     Side::Other,
     {"video is inverted", "The two wires of the pair are swapped, or a stage inverts.",
      "On twisted pair swap the two wires at one end only; on coax look for a balun wired backwards."}},
    {"video.lines_per_frame",
     Side::Other,
     {"wrong number of lines",
      "The source does not interlace, makes its sync by a simple counter, or is of another system. Monitors "
      "may take it; recorders and mixers may not.",
      "Look whether the source has an interlace setting; otherwise keep it away from what needs interlace."}},
    {"video.line.frequency",
     Side::Other,
     {"line frequency is off",
      "The source's clock is off, or the recorder's is: this figure is by the recorder's clock.",
      "Measure another source with the same recorder. If it is off by the same, calibrate the recorder's "
      "clock; if "
      "not, the source's oscillator drifts: replace the source."}},
    {"video.field.frequency",
     Side::Other,
     {"field frequency is off",
      "The source's clock is off or it is locked to the mains; line-locked cameras follow the mains.",
      "Set the camera to its internal clock if a recorder rolls; check the mains frequency on a generator."}},
    {"video.sync.amplitude",
     Side::High,
     {"sync is too large",
      "Twice the level is the sign of a missing 75 ohm termination; a little more, of a gain set too high.",
      "Check that exactly the last unit of the line has its termination switched in; then set the gain for "
      "nominal "
      "sync."}},
    {"video.sync.amplitude",
     Side::Low,
     {"sync is too small",
      "With burst and white low alike: two thirds is the sign of a second termination; less and less with "
      "distance, of cable loss or a corroded joint. With those right: the source's sync alone. Below half, "
      "pictures roll and tear.",
      "Compare with burst and white. All low alike: see that the last unit alone ends the line, then compare "
      "both ends of the cable. Sync alone: leave the terminations and measure at the source's own output."}},
    {"video.sync.width",
     Side::Other,
     {"sync width is off",
      "The sync generator or a sync stretcher is off, or sync is sliced at a wrong level.",
      "Measure at the source itself; if it is right there, bypass stages that regenerate sync."}},
    {"video.sync.rise",
     Side::High,
     {"sync edges are slow", "High frequencies are lost: a long cable without equaliser, or a bad joint.",
      "Measure at both ends of the cable; fit or set the equaliser for its length."}},
    {"video.sync.missing",
     Side::High,
     {"line syncs are missing", "Sync drops out: a loose connector, or a signal too weak for its noise.",
      "Move each connector on the way while watching this count; a jump names the connector."}},
    {"video.level.step",
     Side::High,
     {"the level jumps",
      "A loose connector, a bad joint or a supply that sags: the whole signal steps up and down.",
      "Move each connector on the way while watching the level; a jump names the connector. Then see whether "
      "the "
      "supply holds its voltage."}},
    {"video.burst.missing",
     Side::High,
     {"the burst comes and goes", "Colour drops out: a loose connector, or a source whose encoder fails.",
      "Move each connector on the way while watching the colour; a jump names the connector. Then measure at "
      "the "
      "source itself."}},
    {"video.vertical_sync",
     Side::Other,
     {"vertical sync is missing", "Lines come, but no fields or not all: pictures roll.",
      "Measure at the source itself; if vertical sync is there, look for a stage or cable that loses low "
      "frequencies."}},
    {"video.vertical_sync.missing",
     Side::High,
     {"vertical syncs are missing", "The picture jumps or rolls each time.",
      "Move each connector on the way while watching this count; a jump names the connector."}},
    {"video.sync.jitter",
     Side::High,
     {"sync jitters", "Lines start unevenly: hum or noise on the sync edges, or a tape or network source.",
      "See hum and noise in this report; if both are low, the source itself is unsteady."}},
    {"video.front_porch",
     Side::Other,
     {"front porch is off", "The picture ends too near to sync or too far from it.",
      "Measure at the source; a time-base or switcher on the way may place blanking anew."}},
    {"video.burst.amplitude",
     Side::Low,
     {"burst is too small",
      "High frequencies are lost on the way, or the source's encoder is off. Monitors turn colour up to make "
      "up for "
      "it, then lose it.",
      "Compare with the sync amplitude: if sync is right and burst small, equalise the cable; if both are "
      "small, "
      "look at the level first."}},
    {"video.burst.amplitude",
     Side::High,
     {"burst is too large", "An equaliser is set for more cable than there is, or the level is too high.",
      "Compare with the sync amplitude; turn the equaliser back until burst and sync stand in proportion."}},
    {"video.burst.start",
     Side::Other,
     {"burst is out of place", "The burst gate of the source is off.", "Measure at the source itself."}},
    {"video.burst.cycles",
     Side::Other,
     {"burst length is off", "The burst gate of the source is off.", "Measure at the source itself."}},
    {"video.burst.frequency",
     Side::Other,
     {"subcarrier frequency is off",
      "Beyond the range that monitors follow colour is lost or its bars turn. This figure is by the "
      "recorder's "
      "clock.",
      "Measure another colour source with the same recorder to tell the recorder's clock from the "
      "source's."}},
    {"video.equalising.width",
     Side::Other,
     {"equalising pulses are off", "The sync generator is off; interlace suffers first.",
      "Measure at the source itself."}},
    {"video.broad.width",
     Side::Other,
     {"broad pulses are off",
      "The sync generator is off, or low frequencies are lost so that vertical sync sags.",
      "Measure at the source itself; then look at field tilt."}},
    {"video.setup",
     Side::High,
     {"black is too high",
      "Black looks grey: setup where none belongs, or a clamp that works on noise or hum.",
      "Set the source's setup (pedestal) for the site's system."}},
    {"video.setup",
     Side::Low,
     {"black is too low", "Dark parts are lost: setup missing where it belongs, or a clamp pulled down.",
      "Set the source's setup (pedestal) for the site's system."}},
    {"video.white",
     Side::High,
     {"white is too high", "Bright parts are clipped further on; colours on them smear.",
      "See the sync amplitude: if it is high in proportion, turn the level down or find the missing "
      "termination; if "
      "sync is right, turn down the source's white."}},
    {"video.clipped",
     Side::High,
     {"bright parts are cut off flat",
      "Whatever rises above one level is lost: bright colours lose saturation and turn, and no setting "
      "further on "
      "brings it back.",
      "Measure at the source itself. Cut off there too: turn down its white or colour gain. Whole there: an "
      "amplifier on the way is driven too far or its supply has sagged; measure before and after it."}},
    {"video.termination",
     Side::Other,
     {"termination is wrong", "The line is ended by none or by two 75 ohm loads.",
      "Switch in the termination of the last unit on the line and of no other."}},
    {"video.blanking.level",
     Side::High,
     {"direct voltage stands on the video",
      "Blanking stands more than 2 V above the shield. An output's coupling has failed, or a camera is "
      "supplied along this "
      "cable: that voltage can damage what it is plugged into.",
      "Do not plug this cable into anything else before a meter shows what stands on it. A supply along the "
      "cable belongs "
      "behind its own splitter; without one, look for a failed coupling capacitor in the source."}},
    {"video.blanking.level",
     Side::Low,
     {"direct voltage stands on the video",
      "Blanking stands more than 2 V below the shield. An output's coupling has failed, or a camera is "
      "supplied along this "
      "cable: that voltage can damage what it is plugged into.",
      "Do not plug this cable into anything else before a meter shows what stands on it. A supply along the "
      "cable belongs "
      "behind its own splitter; without one, look for a failed coupling capacitor in the source."}},
    {"video.hum.level",
     Side::High,
     {"hum on the video is too high",
      "Bars roll through the picture. Two ends of the cable stand on different earths, or a supply's "
      "capacitor has "
      "aged.",
      "Measure with the far end's other cables unplugged. If the hum goes, break the loop with a video "
      "isolation "
      "transformer; never lift or defeat a protective earth. A shield between separately fed buildings can "
      "carry "
      "dangerous current: have it measured by a licensed person before unplugging."}},
    {"video.snr.weighted",
     Side::Low,
     {"video noise is too high",
      "The picture is grainy: a dark scene at full gain, or a weak signal amplified.",
      "Give the camera light and measure again; if noise stays, compare the level at both ends of the "
      "cable."}},
    {"video.impulses", Side::High, picture_sparkles},
    {"video.noise.periodic.level",
     Side::High,
     {"a steady pattern lies on the picture", "A radio carrier or a switching supply gets into the cable.",
      "Note its frequency; switch off supplies and dimmers nearby one at a time while watching the figure."}},
    {"video.k2t",
     Side::High,
     {"edges ring or smear", "Reflections or uneven response spoil sharp edges.",
      "Look for T-pieces, a missing termination and joints between cables of unlike impedance."}},
    {"video.pulse_bar",
     Side::Other,
     {"fine detail has the wrong height",
      "Low: high frequencies are lost in cable. High: an equaliser is set for more cable than there is.",
      "Set the equaliser for the cable that is there."}},
    {"video.line_tilt",
     Side::High,
     {"bright areas sag along the line", "Low frequencies are lost: a dried-up coupling capacitor.",
      "Bypass stages one at a time; renew the coupling capacitor of the one that tilts."}},
    {"video.field_tilt",
     Side::High,
     {"brightness sags down the picture",
      "The lowest frequencies are lost: a dried-up coupling capacitor or a transformer at its limit.",
      "Bypass stages one at a time; renew the coupling capacitor of the one that tilts."}},
    {"video.saturation",
     Side::Low,
     {"colours are too weak for their burst", "A colour control stands low, or an encoder is out of line.",
      "Set colour controls to their middle; send bars and compare burst and colours."}},
    {"video.saturation",
     Side::High,
     {"colours are too strong for their burst", "A colour control stands high, or the burst is too small.",
      "Set colour controls to their middle; send bars and compare burst and colours."}},
    {"video.nonlinearity",
     Side::High,
     {"grey steps are uneven", "A stage runs out of room or its supply has dropped.",
      "Check the level into each stage, then its supply voltage."}},
    {"video.differential_gain",
     Side::High,
     {"colour strength changes with brightness", "An amplifier runs out of room near white or black.",
      "Check the level into each stage; a signal with a missing termination overloads the next one."}},
    {"video.differential_phase",
     Side::High,
     {"hue changes with brightness", "An amplifier runs out of room near white or black.",
      "Check the level into each stage; then change the stage."}},
    {"video.chroma_delay",
     Side::Other,
     {"colour is shifted sideways",
      "Colour travels through a filter or equaliser with another delay than brightness.",
      "Bypass filters and equalisers one at a time."}},
    {"video.multiburst",
     Side::Low,
     {"high frequencies are lost", "Fine detail and colour fade: cable loss or a bad joint.",
      "Measure at both ends of the cable; fit or set the equaliser for its length."}},
    {"video.multiburst",
     Side::High,
     {"high frequencies are lifted", "An equaliser is set for more cable than there is.",
      "Turn the equaliser back until the response is flat."}},
    {"video.cable.loss",
     Side::High,
     {"cable loss is too high", "The cable is longer, thinner or wetter than the path can bear.",
      "Compare with the length that lies there: more loss than that points to water or a bad joint. Fit an "
      "equaliser "
      "otherwise."}},
    {"video.echo.level",
     Side::High,
     {"there is an echo", "Part of the signal is thrown back at a joint, a T-piece or a wrong termination.",
      "Look at the distance given, counted back from this end; mend or end the cable there."}},
    {"video.apl",
     Side::Other,
     {"average picture level is off", "The picture is darker or brighter than this limit set expects.",
      "Check the camera's iris and lighting."}},
};

struct GroupRule {
  std::string_view prefix;
  Group group;
};

// First match wins. Audio's groups end at 8.
constexpr GroupRule groups[] = {
    {"video.hum", {"Hum, noise and interference", 14}},
    {"video.snr", {"Hum, noise and interference", 14}},
    {"video.noise", {"Hum, noise and interference", 14}},
    {"video.sync.amplitude", {"Levels", 10}},
    {"video.blanking", {"Levels", 10}},
    {"video.setup", {"Levels", 10}},
    {"video.clipped", {"Levels", 10}},
    {"video.white", {"Levels", 10}},
    {"video.apl", {"Levels", 10}},
    {"video.gain", {"Levels", 10}},
    {"video.burst.amplitude", {"Levels", 10}},
    {"video.burst.missing", {"Levels", 10}},
    {"video.level", {"Levels", 10}},
    {"video.sync", {"Timing", 11}},
    {"video.vertical_sync", {"Timing", 11}},
    {"video.front_porch", {"Timing", 11}},
    {"video.back_porch", {"Timing", 11}},
    {"video.breezeway", {"Timing", 11}},
    {"video.burst", {"Timing", 11}},
    {"video.sc_h", {"Timing", 11}},
    {"video.equalising", {"Timing", 11}},
    {"video.broad", {"Timing", 11}},
    {"video.saturation", {"Colour bars", 12}},
    {"video.bars", {"Colour bars", 12}},
    {"video.multiburst", {"Path distortions", 13}},
    {"video.k2t", {"Path distortions", 13}},
    {"video.pulse_bar", {"Path distortions", 13}},
    {"video.line_tilt", {"Path distortions", 13}},
    {"video.field_tilt", {"Path distortions", 13}},
    {"video.nonlinearity", {"Path distortions", 13}},
    {"video.differential", {"Path distortions", 13}},
    {"video.chroma", {"Path distortions", 13}},
    {"video.echo", {"Cable", 15}},
    {"video.cable", {"Cable", 15}},
    {"video.termination", {"Cable", 15}},
    {"video.", {"Signal", 9}},
};

}  // namespace

const Words* video_words(std::string_view kind_id, Side side) {
  for (const Entry& e : entries) {
    if (e.id == kind_id && (e.side == side || e.side == Side::Other)) return &e.words;
  }
  return nullptr;
}

Words words_of_all_levels(Side side) {
  if (side == Side::Low) {
    return {
        "the whole signal is too small",
        "Sync, burst and white are too small alike: two thirds is the sign of a second termination; less and "
        "less with distance, of cable loss or a corroded joint; the same everywhere, of the source's level. "
        "Below half, pictures roll and tear.",
        "See that the last unit alone ends the line, then measure at the source's own output: low there, its "
        "level; right there, compare both ends of each cable."};
  }
  return {
      "the whole signal is too large",
      "Sync and burst are too large alike: twice the level is the sign of a missing 75 ohm termination; a "
      "little more, of a gain set too high.",
      "Check that exactly the last unit of the line has its termination switched in; then set the gain for "
      "nominal sync."};
}

std::optional<Group> video_group(std::string_view id) {
  for (const GroupRule& rule : groups) {
    if (id.starts_with(rule.prefix)) return rule.group;
  }
  return std::nullopt;
}

}  // namespace linebench::report
