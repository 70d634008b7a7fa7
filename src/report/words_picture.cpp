#include "words_picture.hpp"

#include "words_both.hpp"

namespace linebench::report {
namespace {

using judge::Side;

struct Entry {
  std::string_view id;  // of the catalogue's kind
  Side side;            // Other: whichever side
  Words words;
};

// What to do is common practice throughout.
constexpr Entry entries[] = {
    {"picture.signal.lost",
     Side::High,
     {"the signal goes away at times", "Some frames carry no picture: blue, black or snow.",
      "Move the plugs and the cable while watching (linebench watch): a contact opens, or the camera's "
      "supply "
      "drops out."}},
    {"picture.signal",
     Side::Other,
     {"there is no picture", "The grabber sends frames, but no picture comes in.",
      "Check that the grabber's input and standard are the ones in use; then the camera's supply; then "
      "follow the "
      "coax one connector at a time."}},
    {"picture.sync.loss.count",
     Side::High,
     {"the picture loses its sync at times", "It was gone, jumped, rolled or tore; the times say when.",
      "Repeat the run while moving one plug or cable at a time, then on another supply: what brings the next "
      "loss is the part."}},
    {"picture.colour",
     Side::Other,
     {"the colour goes away",
      "The picture stays and its colour does not: the burst is weak or the line's loss "
      "at the subcarrier is high.",
      "Read the burst with a waveform capture at the camera, then at the end of the cable."}},
    {"picture.hum.level",
     Side::High,
     {"hum bars are too strong",
      "Soft dark and bright bars stand or move through the picture: mains gets into the signal. One bar is "
      "the "
      "mains itself, two are the ripple of a supply.",
      "Two bars: change the camera's or the amplifier's supply for a test. One bar: two earths meet over the "
      "coax; "
      "put a video isolation transformer in the line for a test. Never lift or defeat a protective earth to "
      "cure "
      "hum. A shield between separately fed buildings can carry dangerous current: have it measured by a "
      "licensed "
      "person before unplugging."}},
    {"picture.roll",
     Side::Other,
     {"the picture rolls",
      "The grabber does not find vertical sync: it is too small, or spoilt by hum or noise.",
      "Measure the sync amplitude with a waveform capture; look for a second termination and for hum "
      "first."}},
    {"picture.jitter",
     Side::High,
     {"lines jitter sideways", "Line sync is noisy or weak, so each line starts at its own place.",
      "Compare the level at both ends of the cable; look for noise and interference on the signal."}},
    {"picture.tear",
     Side::High,
     {"the picture tears",
      "Lines jump sideways in a body: line sync is lost for a moment or disturbed by a pulse.",
      "Note when it happens: relays, door openers and motors nearby; then look at the sync amplitude."}},
    {"picture.flagging",
     Side::Other,
     {"the top of the picture bends",
      "Line timing is disturbed round vertical sync: hum on sync, a source with poor timing, or a clamp.",
      "Try another source on the same line: if the bend stays, it is the line, and hum is the first "
      "suspect."}},
    {"picture.snr",
     Side::Low,
     {"picture noise is too high",
      "The picture is grainy: a dark scene at full gain, or a weak signal amplified.",
      "Give the camera light and measure again; if noise stays, compare the level at both ends of the "
      "cable."}},
    {"picture.noise",
     Side::High,
     {"picture noise is too high",
      "The picture is grainy: a dark scene at full gain, or a weak signal amplified.",
      "Give the camera light and measure again; if noise stays, compare the level at both ends of the "
      "cable."}},
    {"picture.noise.rows",
     Side::High,
     {"whole rows flicker, as streaks",
      "Noise slower than a line: on sync, where the clamp finds it, or in the source.",
      "Try another source on the same line: if the streaks stay, move each connector gently and look for "
      "interference on the cable."}},
    {"picture.noise.fixed",
     Side::High,
     {"a pattern stands in the picture",
      "What is the same in each frame is no noise of a line: the camera's sensor or a converter makes it.",
      "Try another source on the same line, and another grabber on the same source."}},
    {"picture.impulses", Side::High, picture_sparkles},
    {"picture.noise.periodic.level",
     Side::High,
     {"a steady pattern lies on the picture", "A radio carrier or a switching supply gets into the cable.",
      "Note its frequency; switch off supplies and dimmers nearby one at a time while watching the figure."}},
    {"picture.level.step",
     Side::High,
     {"the picture's level jumps",
      "A gain control hunts, or the signal steps up and down: a loose connector or a supply that sags.",
      "Look at it on another grabber or monitor: if it stays, move each connector on the way while watching "
      "the level."}},
    {"picture.luma.gain",
     Side::High,
     {"the picture is too bright",
      "White comes out above its code. With a gain control that works by sync this means that sync is too "
      "small "
      "for the white it comes with.",
      "Measure sync and white with a waveform capture, or set the source's white."}},
    {"picture.luma.gain",
     Side::Low,
     {"the picture is too weak",
      "White comes out below its code: a second termination, cable loss or a low source.",
      "Check that exactly the last unit on the line is terminated; compare the level at both ends of the "
      "cable."}},
    {"picture.luma.black",
     Side::Other,
     {"black is off",
      "Setup where none belongs or none where it does, or a clamp pulled aside by hum or noise.",
      "Set the source's setup and the grabber's standard alike; then look at hum."}},
    {"picture.echo.level",
     Side::High,
     {"there is a ghost", "Part of the signal is thrown back at a joint, a T-piece or a wrong termination.",
      "Look at the distance given; mend or end the cable there."}},
    {"picture.colour",
     Side::Other,
     {"there is no colour",
      "The burst does not get through or the colour system is another: cable loss takes it first.",
      "Check the grabber's standard; then measure the burst with a waveform capture at both ends of the "
      "cable."}},
    {"picture.hue",
     Side::Other,
     {"hue is off",
      "Colours are turned: phase errors on the way, or a hue control that is not at its middle.",
      "Set the grabber's and the source's hue controls to their middle and measure again."}},
    {"picture.saturation",
     Side::Low,
     {"colours are too pale", "High frequencies are lost in cable, or a colour control stands low.",
      "Set colour controls to their middle; compare at both ends of the cable."}},
    {"picture.saturation",
     Side::High,
     {"colours are too strong", "A colour control stands high, or the burst is too small for its picture.",
      "Set colour controls to their middle; measure the burst with a waveform capture."}},
    {"picture.multiburst",
     Side::Low,
     {"high frequencies are lost",
      "Fine detail and colour fade: cable loss, a bad joint, or the grabber's own filter.",
      "Calibrate the grabber through a short cable first; then measure at both ends of the cable."}},
    {"picture.multiburst",
     Side::High,
     {"high frequencies are lifted", "An equaliser is set for more cable than there is.",
      "Turn the equaliser back until the response is flat."}},
    {"picture.frames.duplicated",
     Side::High,
     {"frames are repeated",
      "The grabber or the bus cannot keep up, or it hides lost frames by repeating others.",
      "Plug the grabber straight into the computer, on a port of its own, and close other programs."}},
    {"picture.frames.frozen",
     Side::High,
     {"the picture stands still for a time",
      "One and the same frame comes again and again: what moves before the camera is not seen.",
      "Look whether the camera's own output stands as well; then plug the grabber straight into the "
      "computer, and "
      "change one after the other."}},
    {"picture.frames.dropped",
     Side::High,
     {"frames are lost", "The grabber or the bus cannot keep up.",
      "Plug the grabber straight into the computer, on a port of its own, and close other programs."}},
    {"picture.fields.swapped",
     Side::Other,
     {"the fields are swapped", "Edges look like a comb although nothing moves.",
      "Set the field order of the grabber or of what plays the picture."}},
    {"picture.clipped",
     Side::High,
     {"the picture is clipped",
      "Codes stand at the ends of their range; what was brighter or darker is lost.",
      "Lower the grabber's contrast and set its brightness to the middle; then check the level on the "
      "line."}},
};

struct GroupRule {
  std::string_view prefix;
  Group group;
};

// First match wins. The waveform's groups end at 15.
constexpr GroupRule groups[] = {
    {"picture.luma", {"Picture levels", 21}},
    {"picture.clipped", {"Picture levels", 21}},
    {"picture.colour", {"Picture colour", 22}},
    {"picture.hue", {"Picture colour", 22}},
    {"picture.saturation", {"Picture colour", 22}},
    {"picture.bars", {"Picture bars", 27}},
    {"picture.hum", {"Hum bars", 23}},
    {"picture.sync.loss", {"Picture stability", 24}},
    {"picture.sync", {"Sync by the gain control", 21}},
    {"picture.roll", {"Picture stability", 24}},
    {"picture.level", {"Picture stability", 24}},
    {"picture.jitter", {"Picture stability", 24}},
    {"picture.tear", {"Picture stability", 24}},
    {"picture.flagging", {"Picture stability", 24}},
    {"picture.noise", {"Picture noise and response", 25}},
    {"picture.impulses", {"Picture noise and response", 25}},
    {"picture.snr", {"Picture noise and response", 25}},
    {"picture.echo", {"Picture noise and response", 25}},
    {"picture.multiburst", {"Picture noise and response", 25}},
    {"picture.frames", {"Frames and fields", 26}},
    {"picture.field", {"Frames and fields", 26}},
    {"picture.", {"Picture", 20}},
};

}  // namespace

const Words* picture_words(std::string_view kind_id, Side side) {
  for (const Entry& e : entries) {
    if (e.id == kind_id && (e.side == side || e.side == Side::Other)) return &e.words;
  }
  return nullptr;
}

std::optional<Group> picture_group(std::string_view id) {
  for (const GroupRule& rule : groups) {
    if (id.starts_with(rule.prefix)) return rule.group;
  }
  return std::nullopt;
}

}  // namespace linebench::report
