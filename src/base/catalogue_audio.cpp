// Audio reading kinds. dBFS is per [AES17]: a full-scale sine is 0 dBFS (rms).
#include <linebench/base/catalogue.hpp>

namespace linebench {
namespace {

constexpr ReadingKind kinds[] = {
    {"audio.signal", "Signal", "", 0,
     "present; none: all samples equal, or what was sent does not come back; idle: below -60 dBFS and "
     "nothing "
     "known to be sent (common practice)"},
    {"audio.level.rms", "Level (rms)", "dBFS", 2, "rms of everything in the channel, dc taken out [AES17]"},
    {"audio.level.peak", "Peak sample", "dBFS", 2,
     "largest sample magnitude re the peak of a full-scale sine (1.0 = 0 dBFS)"},
    {"audio.level.crest", "Crest factor", "dB", 2,
     "largest sample over rms, dc taken out of both; a sine has 3.01 dB"},
    {"audio.level.dc", "DC offset", "of full scale", 6, "mean of the samples as a fraction of full scale"},
    {"audio.level.voltage", "Level (voltage)", "dBu", 2,
     "rms as a voltage re 0.7746 V; needs a calibrated input or --full-scale"},
    {"audio.tone.frequency", "Tone frequency", "Hz", 4,
     "frequency of the strongest steady sine, by the recorder's clock corrected where calibrated"},
    {"audio.tone.level", "Tone level", "dBFS", 3, "rms level of that sine alone [AES17]"},
    {"audio.tone.step", "Tone level step", "dB", 2,
     "largest sudden change of the tone's level, later over earlier"},
    {"audio.tone.step.time", "Tone level step at", "s", 2, "when it happens"},
    {"audio.tone.gain", "Tone gain", "dB", 2, "tone returned over tone sent, where its level is known"},
    {"audio.marker.level", "Marker level", "dBFS", 2,
     "rms of the tone burst ahead of a marked silence; where it comes back, everything else is read between "
     "the "
     "markers"},
    {"audio.thd", "THD", "%", 4, "rms sum of harmonics 2..N below 20 kHz over the fundamental"},
    {"audio.thd_n", "THD+N", "%", 4,
     "rms of all but the fundamental in 20 Hz to 20 kHz over the rms of all [AES17 6.3.1]"},
    {"audio.snr", "Signal to noise", "dB", 2, "tone over noise (harmonics left out), 20 Hz to 20 kHz, rms"},
    {"audio.imd.smpte", "Intermodulation 60 Hz + 7 kHz", "%", 4,
     "rms of the 7 kHz +- n 60 Hz side tones over the 7 kHz tone [RP 120]"},
    {"audio.imd.difference", "Difference-frequency distortion", "%", 4,
     "second and third order products of the twin tones 19 and 20 kHz over their sum [IEC 60268-3]"},
    {"audio.noise.unweighted", "Noise, unweighted", "dBFS", 2,
     "rms in 20 Hz to 20 kHz with the test tone and its harmonics taken out"},
    {"audio.noise.a", "Noise, A weighted", "dBFS", 2, "rms through the A curve [IEC 61672-1]"},
    {"audio.noise.bs468", "Noise, 468 weighted (rms)", "dBFS", 2,
     "rms through the weighting of [BS.468-4], 0 dB at 1 kHz"},
    {"audio.noise.bs468_peak", "Noise, 468 quasi-peak", "dBFS", 2,
     "the complete quasi-peak meter of [BS.468-4], reading the rms of a steady 1 kHz sine"},
    {"audio.hum.frequency", "Mains frequency", "Hz", 4, "fundamental of the mains comb found in the channel"},
    {"audio.hum.level", "Hum", "dBFS", 2,
     "rms sum of all mains harmonics found, by a joint least-squares fit"},
    {"audio.hum.harmonic.N", "Hum harmonic", "dBFS", 2, "rms level of this multiple of the mains frequency"},
    {"audio.hum.kind", "Hum kind", "", 0,
     "pattern of the harmonics: none, fundamental, ripple, buzz, mixed (common practice)"},
    {"audio.whistle.frequency", "Line whistle frequency", "Hz", 2,
     "steady tone at a television line rate (15 625 or 15 734.27 Hz)"},
    {"audio.whistle.level", "Line whistle level", "dBFS", 2, "rms level of that tone"},
    {"audio.phone_burst.rate", "Mobile-phone burst rate", "Hz", 2,
     "repetition rate of pulse bursts near 216.67 Hz (26 frames in 120 ms)"},
    {"audio.phone_burst.level", "Mobile-phone burst level", "dBFS", 2,
     "rms of the burst comb while it lasts"},
    {"audio.clip.samples", "Clipped samples", "", 0, "samples in flat-topped runs at the rails"},
    {"audio.clip.level", "Clipping level", "dBFS", 2, "the level at which the tops are cut"},
    {"audio.clip.times", "Clipping times", "s", 2, "where clipping was found: start of each stretch"},
    {"audio.click.count", "Clicks", "", 0, "short impulses that stand out of their surroundings"},
    {"audio.click.times", "Click times", "s", 3, "where the clicks were found"},
    {"audio.dropout.count", "Dropouts", "", 0, "stretches where the signal vanishes and comes back"},
    {"audio.dropout.times", "Dropout times", "s", 3, "where the dropouts begin"},
    {"audio.pair.polarity", "Left/right polarity", "", 0,
     "+1: both sides move together, -1: one is reversed"},
    {"audio.pair.delay", "Left/right delay", "s", 7, "time by which the right side is late"},
    {"audio.pair.gain", "Left/right gain", "dB", 2, "level of what both share, right over left"},
    {"audio.pair.crosstalk", "Crosstalk", "dB", 2,
     "the sent side's signal found in the other side, re the sent side"},
    {"audio.pair.noise", "Left/right noise", "dB", 2,
     "noise of the right side re that of the left, unweighted"},
    {"audio.pair.sides", "Sides carried", "", 0,
     "which sides carry signal: both, left only, right only, mono, none"},
    {"audio.response", "Response", "dB", 2, "gain at the third-octave centres [IEC 61260-1], 0 dB at 1 kHz"},
    {"audio.response.gain", "Gain at 1 kHz", "dB", 2, "returned over sent"},
    {"audio.response.coherence", "Coherence", "", 3, "share of the return that is the sent signal, by band"},
    {"audio.response.band_low", "Lower band edge", "Hz", 0, "-3 dB re 1 kHz"},
    {"audio.response.band_high", "Upper band edge", "Hz", 0, "-3 dB re 1 kHz"},
    {"audio.response.delay", "Delay", "s", 6,
     "from sending to the arrival of the direct sound; the path's minimum-phase part (its band limits) "
     "counts as "
     "response, not as delay"},
    {"audio.response.polarity", "Polarity", "", 0, "+1: as sent, -1: reversed"},
    {"audio.response.clock", "Clock difference", "ppm", 2,
     "by which the recorder's clock is fast of the sender's"},
    {"audio.response.echo.delay", "Echo delay", "s", 5,
     "time by which the strongest echo follows the direct sound"},
    {"audio.response.echo.level", "Echo level", "dB", 2, "strongest echo re the direct sound"},
    {"audio.sti", "Speech transmission index", "", 3, "STIPA [IEC 60268-16]"},
    {"audio.loudness.integrated", "Loudness", "LUFS", 1, "gated programme loudness [BS.1770-4]"},
    {"audio.loudness.range", "Loudness range", "LU", 1, "[EBU Tech 3342]"},
    {"audio.true_peak", "True peak", "dBTP", 2, "peak of the oversampled signal [BS.1770-4]"},
};

}  // namespace

std::span<const ReadingKind> audio_reading_kinds() { return kinds; }

}  // namespace linebench
