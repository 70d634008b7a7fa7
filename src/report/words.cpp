#include <linebench/base/catalogue.hpp>
#include <linebench/report/words.hpp>

#include "words_picture.hpp"
#include "words_video.hpp"

namespace linebench::report {
namespace {

using judge::Side;

struct Entry {
  std::string_view id;  // of the catalogue's kind
  Side side;            // Other: whichever side
  Words words;
};

constexpr Entry entries[] = {
    {"audio.signal",
     Side::Other,
     {"nothing came back",
      "The signal that was sent does not arrive: the path is open, shorted, muted or switched off, or this "
      "is not "
      "the input or output it hangs on.",
      "Check that the cable is in the output and the input named above and that neither is muted. Then "
      "follow the "
      "signal from the sender on, one connection at a time, until it is gone."}},
    {"audio.tone.gain",
     Side::High,
     {"path is too loud", "The tone comes back much louder than it was sent.",
      "Set the path's gain with the alignment tone. If the sound card was not calibrated (calibrate --loop), "
      "its own "
      "gain is in this figure too."}},
    {"audio.tone.gain",
     Side::Low,
     {"path loses level",
      "The tone comes back much quieter than it was sent. About 6 dB down on a balanced line is the sign of "
      "one open "
      "leg.",
      "Check both legs for continuity; then set the path's gain with the alignment tone. If the sound card "
      "was not "
      "calibrated (calibrate --loop), its own loss is in this figure too."}},
    {"audio.tone.step",
     Side::Other,
     {"level jumps",
      "A steady tone changed its level at once: a contact, a relay or switching stage, or a control that was "
      "touched.",
      "Move plugs and cables one at a time while watching the level; note what was touched at the time "
      "given."}},
    {"audio.signal.step",
     Side::Other,
     {"level jumps",
      "A signal that was sent at one level changed its level at once and stayed there: a contact, a relay, a "
      "stage that switches off when it is warm, a supply that gives way, or a control that was touched.",
      "At the time given look at what was touched or switched; send it again, and for longer, while plugs "
      "and "
      "cables are moved one at a time."}},
    {"audio.tone.drift",
     Side::High,
     {"level drifts",
      "The level of a steady tone moved slowly over the run: a stage that warms up, a supply that sags, a "
      "contact that gives way.",
      "Look at what changed until the time given: temperature, supply volts, load. Cool or warm one part at "
      "a "
      "time and watch the level."}},
    {"audio.tone.drift",
     Side::Low,
     {"level falls away",
      "The level of a steady tone fell slowly over the run: a stage that warms up, a supply that sags, a "
      "contact that gives way.",
      "Meter the supply under load at the start and at the time given; cool or warm one part at a time and "
      "watch the level."}},
    {"audio.hum.rise",
     Side::High,
     {"hum comes in at times", "Hum came in during the run that was not there at its start.",
      "Find what was switched on at the time given: lights, motors, chargers, another supply on the same "
      "strip. Meter the supply's ripple then."}},
    {"audio.thd.rise",
     Side::High,
     {"sound turns harsh at times",
      "Distortion came in during the run that was not there at its start: a stage that gives way when it is "
      "warm, or a supply that sags.",
      "Note how warm the unit was at the time given and meter its supply then; run it again with the unit "
      "cool "
      "and compare the times."}},
    {"audio.noise.rise",
     Side::High,
     {"noise comes in at times",
      "Noise came in during the run that was not there at its start; people who talk near a microphone read "
      "the same.",
      "Ask who was in the room at the time given; if nobody, move plugs and cable one at a time while "
      "listening, and run it again."}},
    {"audio.response.gain",
     Side::High,
     {"path is too loud", "The signal comes back much louder than it was sent.",
      "Set the path's gain with the alignment tone. If the sound card was not calibrated (calibrate --loop), "
      "its own "
      "gain is in this figure too."}},
    {"audio.response.gain",
     Side::Low,
     {"path loses level",
      "The signal comes back much quieter than it was sent. About 6 dB down on a balanced line is the sign "
      "of one "
      "open leg.",
      "Check both legs for continuity; then set the path's gain with the alignment tone. If the sound card "
      "was not "
      "calibrated (calibrate --loop), its own loss is in this figure too."}},
    {"audio.level.rms",
     Side::High,
     {"level is too high", "The path runs so hot that peaks reach the rails and speech turns harsh.",
      "Turn down the first stage that has a gain control, then measure again; check that a line output does "
      "not feed "
      "a microphone input."}},
    {"audio.level.rms",
     Side::Low,
     {"level is too low", "Little or no signal arrives.",
      "Check that the source is sending, then follow the path with a known tone and measure at each "
      "connection."}},
    {"audio.level.peak",
     Side::High,
     {"peaks are too high", "Peaks leave no headroom before the rails.",
      "Turn down the stage before the input and measure again."}},
    {"audio.level.crest",
     Side::Low,
     {"crest factor is too low", "Peaks are shaved off or heavily compressed somewhere.",
      "Bypass limiters one at a time; then look for a stage that clips."}},
    {"audio.level.dc",
     Side::Other,
     {"there is dc on the line",
      "A dc offset eats headroom and clicks when switched. A leaking coupling capacitor "
      "or a powered microphone line on a line input is the usual cause.",
      "Measure dc at the source's output with a meter; if it is there with the cable off, the source is at "
      "fault."}},
    {"audio.programme.voltage",
     Side::High,
     {"level in volts is too high", "The source is set for a higher standard level than this input expects.",
      "Check whether the source has a level switch (-10 dBV or +4 dBu); fit a pad if it has none."}},
    {"audio.programme.voltage",
     Side::Low,
     {"level in volts is too low",
      "The source is set for a lower standard level, is not sending, or one leg of a "
      "balanced line is open (6 dB down).",
      "Check that the source is sending; then check both legs of the line for continuity at the connector. "
      "If this "
      "was a noise check with nothing sent, this limit does not apply."}},
    {"audio.tone.level",
     Side::High,
     {"tone arrives too loud", "The path has more gain than its alignment calls for.",
      "Set the path's gain with the alignment tone until the reading meets its nominal value."}},
    {"audio.tone.level",
     Side::Low,
     {"tone arrives too quiet",
      "The path loses level. About 6 dB down on a balanced line is the sign of one open leg.",
      "Check both legs for continuity; then set the path's gain with the alignment tone."}},
    {"audio.tone.step",
     Side::High,
     {"level jumps",
      "The level of a steady tone changed at one moment: a contact, a switch or a gain control.",
      "At that time look at what moved or switched; move each connector in turn while the tone runs, and "
      "clean or renew "
      "the one that answers."}},
    {"audio.tone.step",
     Side::Low,
     {"level jumps",
      "The level of a steady tone changed at one moment: a contact, a switch or a gain control.",
      "At that time look at what moved or switched; move each connector in turn while the tone runs, and "
      "clean or renew "
      "the one that answers."}},
    {"audio.tone.frequency",
     Side::Other,
     {"tone frequency is off", "The sender's or the recorder's clock is off, or another tone was found.",
      "Name the tone that was sent (--tone) and calibrate the recorder's clock."}},
    {"audio.thd",
     Side::High,
     {"distortion is too high",
      "A stage bends the waveform: overload, crossover, a failing supply, or a rubbing loudspeaker.",
      "Lower the level by 10 dB and measure again. If distortion falls steeply it is overload: find the "
      "stage and its gain. If it rises, the two halves of an output stage do not meet (crossover): look at "
      "its idle current. If it stays, change the stage."}},
    {"audio.thd_n",
     Side::High,
     {"distortion plus noise is too high",
      "Something beside the tone is too strong: harmonics, hum or noise.",
      "Look at distortion, hum and noise in this report: the highest of them is the one to work on."}},
    {"audio.snr",
     Side::Low,
     {"signal to noise is too low", "Noise or hum stands too close to the signal.",
      "If hum is out of limits too, cure it first. Otherwise check that the level is right early in the "
      "path: gain "
      "added late brings the noise up with it."}},
    {"audio.imd.smpte",
     Side::High,
     {"intermodulation is too high",
      "Low tones shake high ones: a stage is close to overload or a contact is bad.",
      "Lower the level by 10 dB and measure again; clean or remake connections if it stays."}},
    {"audio.imd.difference",
     Side::High,
     {"difference-frequency distortion is too high",
      "High tones make new low ones: a slow or overloaded stage.",
      "Lower the level by 10 dB and measure again; if it stays, change the stage."}},
    {"audio.noise.unweighted",
     Side::High,
     {"noise is too high", "Noise stands too close to speech.",
      "End the line's input with its proper impedance and measure again: if the noise stays, it is the "
      "electronics "
      "behind it; if it goes, it comes in with the line."}},
    {"audio.noise.a",
     Side::High,
     {"noise is too high", "Noise as the ear weighs it stands too close to speech.",
      "End the line's input with its proper impedance and measure again: if the noise stays, it is the "
      "electronics "
      "behind it; if it goes, it comes in with the line."}},
    {"audio.noise.bs468",
     Side::High,
     {"noise is too high", "Noise as the ear weighs it stands too close to speech.",
      "End the line's input with its proper impedance and measure again to see which side makes it."}},
    {"audio.noise.bs468_peak",
     Side::High,
     {"noise is too high", "Hiss, ticks or crackle stand too close to speech.",
      "End the line's input with its proper impedance and measure again to see which side makes it."}},
    {"audio.hum.level",
     Side::High,
     {"hum is too high",
      "Mains hum comes in by an earth loop, a shield current, a nearby transformer or a tired "
      "supply. The hum kind and its harmonics tell which.",
      "Break the signal loop for a test: put an audio isolation transformer in the line. If the hum goes, "
      "two earths "
      "meet over the signal cable. If it stays, short the input: hum that still stays is the input's own "
      "supply. "
      "Never lift a protective earth to cure hum; mains and earth work is for a qualified person under the "
      "local "
      "code."}},
    {"audio.hum.harmonic.N",
     Side::High,
     {"a hum harmonic is too high",
      "One multiple of the mains frequency stands out; twice the mains points to a "
      "supply's ripple, many odd ones to rectifiers or dimmers.",
      "Switch off suspects one at a time and watch this harmonic. Never lift a protective earth to cure "
      "hum."}},
    {"audio.hum.kind",
     Side::Other,
     {"hum is of the wrong kind", "The pattern of the mains harmonics is not an allowed one.",
      "See the hum level and harmonics in this report. Never lift a protective earth to cure hum."}},
    {"audio.whistle.level",
     Side::High,
     {"line whistle is too high",
      "A television line frequency gets into the audio: shared cable, shared return or a "
      "monitor close by.",
      "Switch off the video source or monitor nearest to the path and measure again; then part the cables or "
      "give "
      "the audio a return of its own."}},
    {"audio.whine.level",
     Side::High,
     {"a whine is too high",
      "A steady line sounds on whether or not somebody speaks: a supply, a clock, or a tone on another path.",
      "See its frequency; switch off or unplug what is near, one thing at a time, until it goes."}},
    {"audio.phone_burst.level",
     Side::High,
     {"mobile-phone buzz is too high", "A mobile phone's bursts are picked up by a cable or an input.",
      "Move phones two metres away and measure again; then mend the shield at the connector nearest to the "
      "phone."}},
    {"audio.clip.samples",
     Side::High,
     {"signal is clipped", "Tops are cut flat: a stage before, or the recorder itself, is overloaded.",
      "If the clipping level is at 0 dBFS turn down the recorder's input; if it is lower, an earlier stage "
      "cuts: turn "
      "down what feeds it."}},
    {"audio.click.count",
     Side::High,
     {"there are clicks",
      "Short impulses: a loose contact, a switched load nearby, static, or a digital clock slip.",
      "Move each connector gently while listening; note whether clicks come with a relay, door or barrier "
      "nearby."}},
    {"audio.crackle.count",
     Side::High,
     {"it crackles",
      "Bursts of noise come beside the tone: a dry joint, a worn control or contact, a part that breaks "
      "down, "
      "or a link that conceals what it lost.",
      "Turn controls and move plugs one at a time while listening, with the lid closed; dry joints are "
      "looked "
      "for with the power off. If it was a noise of the room, take it again with the room quiet."}},
    {"audio.dropout.count",
     Side::High,
     {"signal drops out",
      "The signal vanishes, for moments or for good: a loose contact, a relay, a stage that switches off "
      "when "
      "it is warm, a supply that gives way, a voice switch or a noise reduction that takes a steady signal "
      "out, or samples lost in recording.",
      "Check that the capture had no overruns and that the signal was sent to its end; then move each "
      "connector gently while listening, and send it again for longer."}},
    {"audio.pair.steady",
     Side::Other,
     {"one side does not hold",
      "A side falls silent or turns over while the other goes on: a loose plug, a broken core, or a contact.",
      "Move plugs and cable while listening to each side alone; then measure again."}},
    {"audio.pair.polarity",
     Side::Low,
     {"one side is reversed",
      "The two legs of one line are swapped. Both sides together cancel: thin sound, no bass.",
      "Swap the two legs at one end of one line, at one connector only, and measure again."}},
    {"audio.pair.gain",
     Side::Low,
     {"right side is too quiet",
      "The sides differ in level: a gain setting, or one open leg on a balanced line.",
      "Send the same tone to both and set the gains; 6 dB apart, check both legs for continuity."}},
    {"audio.pair.gain",
     Side::High,
     {"left side is too quiet",
      "The sides differ in level: a gain setting, or one open leg on a balanced line.",
      "Send the same tone to both and set the gains; 6 dB apart, check both legs for continuity."}},
    {"audio.pair.delay",
     Side::Other,
     {"sides are not in time",
      "One side is late: another route, another converter, or processing on one side only.",
      "Check that both sides take the same route."}},
    {"audio.pair.crosstalk",
     Side::High,
     {"crosstalk is too high", "One line's signal is heard in the other: a shared return or a split pair.",
      "Check pair by pair that each line uses the two legs of one twisted pair."}},
    {"audio.response",
     Side::Low,
     {"response sags",
      "Some frequencies arrive too weak: highs lost in long or wet cable and high source impedance, "
      "lows in a small or dried-out coupling capacitor or transformer.",
      "Look at the plot: falling at the top, try the far end with a short cable; falling at the bottom, "
      "change the "
      "coupling part."}},
    {"audio.response",
     Side::High,
     {"response peaks",
      "Some frequencies arrive too strong: a tone control, a resonance, or a transformer without its "
      "load.",
      "Set tone controls flat; check that transformers see their rated load."}},
    {"audio.response.polarity",
     Side::Low,
     {"path reverses polarity", "The two legs of the line are swapped somewhere in the path.",
      "Swap the two legs at one connector and measure again."}},
    {"audio.response.echo.level",
     Side::High,
     {"echo is too strong",
      "The signal arrives twice: a second route, acoustic feedback or a badly ended line.",
      "Mute other stations one at a time; the one that takes the echo away is on the second route."}},
    {"audio.response.echo.late",
     Side::High,
     {"echo is too strong",
      "The signal arrives a second time, so late that it is heard by itself: a second route with another "
      "delay, or a loudspeaker heard by an open microphone.",
      "Mute other stations one at a time; the one that takes the echo away is on the second route."}},
    {"audio.sti",
     Side::Low,
     {"speech is hard to understand", "Noise, echoes or a narrow band wipe out what tells words apart.",
      "See noise, echo and response in this report: the worst of them is the one to work on."}},
    {"audio.loudness.integrated",
     Side::High,
     {"programme is too loud", "The programme stands above its loudness target.",
      "Turn the feed down by the difference at its source."}},
    {"audio.loudness.integrated",
     Side::Low,
     {"programme is too quiet", "The programme stands below its loudness target.",
      "Turn the feed up by the difference at its source; watch the true peak."}},
    {"audio.true_peak.voltage",
     Side::Other,
     {"peaks are higher than the input takes", "They would clip in the input.",
      "Turn the source's output down, or put a pad in."}},
    {"audio.true_peak",
     Side::High,
     {"true peak is too high", "Peaks between the samples overload converters and coders further on.",
      "Turn the feed down by the difference or set its limiter lower."}},
};

constexpr Words general = {
    "is out of limits", "This reading lies outside its limit.",
    "Measure again to be sure; then go back along the path, one connection at a time, until "
    "the reading is right."};

struct GroupRule {
  std::string_view prefix;
  Group group;
};

// First match wins.
constexpr GroupRule groups[] = {
    {"audio.signal", {"Level", 0}},
    {"audio.level", {"Level", 0}},
    {"audio.marker", {"Level", 0}},
    {"audio.tone", {"Tone and distortion", 1}},
    {"audio.thd", {"Tone and distortion", 1}},
    {"audio.snr", {"Tone and distortion", 1}},
    {"audio.imd", {"Tone and distortion", 1}},
    {"audio.noise", {"Noise", 2}},
    {"audio.hum", {"Hum and interference", 3}},
    {"audio.whistle", {"Hum and interference", 3}},
    {"audio.whine", {"Hum and interference", 3}},
    {"audio.phone_burst", {"Hum and interference", 3}},
    {"audio.clip", {"Faults in time", 4}},
    {"audio.click", {"Faults in time", 4}},
    {"audio.crackle", {"Faults in time", 4}},
    {"audio.dropout", {"Faults in time", 4}},
    {"audio.pair", {"Left and right", 5}},
    {"audio.response", {"Response", 6}},
    {"audio.sti", {"Response", 6}},
    {"audio.programme", {"Loudness", 7}},
    {"audio.loudness", {"Loudness", 7}},
    {"audio.true_peak", {"Loudness", 7}},
};

}  // namespace

Words words_of_standing_tone() {
  return {"a tone stands on the path",
          "A steady tone stands on the path with nothing sent: a supply or clock that whistles, a loop of "
          "loudspeaker and microphone, or a tone that was left on.",
          "See its frequency; switch off what is near, one thing at a time, microphones and loudspeakers "
          "first, until it goes."};
}

Words words_for(std::string_view id, Side side) {
  const ReadingKind* kind = find_kind(id);
  if (kind == nullptr) return general;
  for (const Entry& e : entries) {
    if (e.id == kind->id && (e.side == side || e.side == Side::Other)) return e.words;
  }
  if (const Words* picture = picture_words(kind->id, side)) return *picture;
  const Words* video = video_words(kind->id, side);
  return video != nullptr ? *video : general;
}

Group group_of(std::string_view id) {
  for (const GroupRule& rule : groups) {
    if (id.starts_with(rule.prefix)) return rule.group;
  }
  if (const auto group = picture_group(id)) return *group;
  return video_group(id).value_or(Group{"Other readings", 8});
}

}  // namespace linebench::report
