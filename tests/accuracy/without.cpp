// Readings that have no figures on the accuracy card, and why.
#include "accuracy/card.hpp"

namespace accuracy {
namespace {

constexpr std::string_view word = "a word, right or wrong; tested by cases of each answer";
constexpr std::string_view count = "a count, claimed exact; tested against events put in at known places";
constexpr std::string_view times = "a list of times; tested against events put in at known places";

constexpr std::string_view long_run = "of a long run only; held to what was put in in tests/check/soak.cpp";

constexpr Without list[] = {
    {"audio", "audio.signal", word},
    {"audio", "audio.tone.gain", "audio.tone.level less a level that is known exactly"},
    {"audio", "audio.tone.drift", long_run},
    {"audio", "audio.tone.drift.time", long_run},
    {"audio", "audio.hum.rise", long_run},
    {"audio", "audio.hum.rise.time", long_run},
    {"audio", "audio.noise.rise", long_run},
    {"audio", "audio.noise.rise.time", long_run},
    {"audio", "audio.thd.rise", long_run},
    {"audio", "audio.thd.rise.time", long_run},
    {"audio", "audio.signal.step",
     "needs the signal that was sent; its coverage is tested in tests/measure/steady_loss.cpp"},
    {"audio", "audio.signal.step.time",
     "needs the signal that was sent; held within 0.5 s in tests/measure/steady_loss.cpp"},
    {"audio", "audio.programme.silent",
     "a length told to its blocks; held within them in tests/measure/silence.cpp"},
    {"audio", "audio.marker.level",
     "needs the marked silence that was sent; its coverage is tested in tests/measure/marked_silence.cpp"},
    {"audio", "audio.noise.bs468_peak",
     "no closed form for a quasi-peak meter on noise; held to the standard's burst table in "
     "tests/published/weighting.cpp"},
    {"audio", "audio.hum.kind", word},
    {"audio", "audio.clip.samples", count},
    {"audio", "audio.clip.times", times},
    {"audio", "audio.click.count", count},
    {"audio", "audio.click.times", times},
    {"audio", "audio.crackle.count", count},
    {"audio", "audio.crackle.times", times},
    {"audio", "audio.dropout.count", count},
    {"audio", "audio.dropout.times", times},
    {"audio", "audio.pair.steady", word},
    {"audio", "audio.pair.polarity", word},
    {"audio", "audio.pair.sides", word},
    {"audio", "audio.response.echo.late", "audio.response.echo.level, where the echo is late"},
    {"audio", "audio.response.coherence",
     "says how far the response is to be trusted and claims no uncertainty of its own"},
    {"audio", "audio.response.polarity", word},
    {"waveform", "video.signal", word},
    {"waveform", "video.system", word},
    {"waveform", "video.polarity", word},
    {"waveform", "video.lines_per_frame", count},
    {"waveform", "video.interlaced", word},
    {"waveform", "video.sync.missing", count},
    {"waveform", "video.level.step", "held within 0.1 dB of jumps put in, in tests/video/steady.cpp"},
    {"waveform", "video.burst.missing", count},
    {"waveform", "video.impulses", "needs impulses; its coverage is tested in tests/video/impulses.cpp"},
    {"waveform", "video.impulses.rhythm", word},
    {"waveform", "video.impulses.time", "held within a microsecond in tests/video/impulses.cpp"},
    {"picture", "picture.level.step", "held within 0.1 dB of gains put in, in tests/picture/grabber.cpp"},
    {"picture", "picture.impulses", "needs impulses; its coverage is tested in tests/picture/impulses.cpp"},
    {"waveform", "video.noise.periodic.from", "says where the search began, and claims no uncertainty"},
    {"picture", "picture.noise.periodic.from", "says where the search began, and claims no uncertainty"},
    {"waveform", "video.bars.kind", word},
    {"waveform", "video.saturation",
     "video.bars.COLOUR.chroma over video.burst.amplitude; held within its claim in "
     "tests/video/saturation.cpp"},
    {"waveform", "video.pattern", word},
    {"waveform", "video.clipped",
     "says whether and how much of the colour; whole and cut ones are told apart in tests/video/clipped.cpp"},
    {"waveform", "video.clipped.level", "held within 4 % in tests/video/clipped.cpp, at 16 to 27 MS/s"},
    {"waveform", "video.line_tilt",
     "its truth hangs on the mean of the whole picture; held within 0.3 % of a closed form in "
     "tests/video/picture_measures.cpp"},
    {"waveform", "video.field_tilt",
     "its truth is read off the samples themselves; held within 0.3 % in tests/video/picture_measures.cpp"},
    {"waveform", "video.echo.polarity", word},
    {"waveform", "video.cable.length",
     "video.cable.loss by the named cable's table, whose own spread is not known"},
    {"waveform", "video.termination", word},
    {"lowband", "video.signal", word},
    {"lowband", "video.system", word},
    {"lowband", "video.polarity", word},
    {"lowband", "video.lines_per_frame", count},
    {"lowband", "video.interlaced", word},
    {"lowband", "video.vertical_sync", word},
    {"lowband", "video.vertical_sync.missing", count},
    {"lowband", "video.termination", word},
    {"picture", "picture.signal", word},
    {"picture", "picture.signal.lost", count},
    {"picture", "picture.sync.loss.count", count},
    {"picture", "picture.sync.loss.times", times},
    {"picture", "picture.system", word},
    {"picture", "picture.pattern", word},
    {"picture", "picture.colour", word},
    {"picture", "picture.bars.COLOUR.cb", "the colours of bars as a whole stand as hue and saturation"},
    {"picture", "picture.bars.COLOUR.cr", "the colours of bars as a whole stand as hue and saturation"},
    {"picture", "picture.frames.duplicated", count},
    {"picture", "picture.frames.frozen", count},
    {"picture", "picture.frames.dropped", count},
    {"picture", "picture.field_order", word},
    {"picture", "picture.field_order.kept", word},
    {"picture", "picture.fields.swapped", word},
    {"picture", "picture.clipped", count},
    {"picture", "picture.sync.gain_control", word},
    {"picture", "picture.sync.gain_lower", "picture.luma.gain of one capture"},
    {"picture", "picture.sync.gain_higher", "picture.luma.gain of one capture"},
    {"picture", "picture.sync.ratio",
     "needs a calibrated grabber and two captures; its coverage is tested in tests/picture/grabber.cpp"},
};

}  // namespace

std::span<const Without> without_figures() { return list; }

}  // namespace accuracy
