// What a grabber adds of its own: learnt from a right signal, taken out of readings, and used to say from its
// gain control whether sync is low.
//
// A grabber has no sync in its frames, but most set their gain by it: sync made 300 mV (286 mV, 525 lines)
// whatever came in. Then the picture's level in codes tells the ratio of picture to sync. Some also turn the
// gain down when white gets too high, so two levels of white are looked at; and some have a fixed gain, which
// a pad of known loss shows.
#pragma once

#include <linebench/base/reading.hpp>
#include <linebench/capture/grabber_calibration.hpp>

namespace linebench::measure {

/// Takes what the picture readings of a pattern sent through a short cable show into the calibration: bars
/// give gain (by their white), colour, noise, hum; the multiburst gives response. Throws Error(Unusable) when
/// they are of neither.
void learn_grabber(capture::GrabberCalibration& calibration, const Readings& readings);

/// Share of a pad's loss that the gain control made up for, from the luminance gain of the same bars without
/// and with a pad of `pad_db` (1 to 12 dB) that lowers sync and picture alike.
/// Throws Error(Usage) for another pad, Error(Unusable) when a gain was not measured.
void learn_gain_control(capture::GrabberCalibration& calibration, const Readings& straight,
                        const Readings& padded, double pad_db);

/// Takes the grabber out of the readings: luminance gain and white in mV, saturation, hue, multiburst, noise
/// (by power; what is no more than the grabber's own becomes unmeasurable with a bound), and widens hum's
/// uncertainty by the grabber's own hum. Codes stay as they came. Readings so treated say so.
void take_out_grabber(Readings& readings, const capture::GrabberCalibration& calibration);

/// The sync-to-white test, from the readings of the same kind of bars at a lower and a higher white.
/// @param calibration of the grabber; may be nullptr: then the ratio is unmeasurable, with what to do
/// @return picture.sync.gain_control, picture.sync.ratio (% of nominal: below 100 sync is low), and both
/// gains. Accuracy: the gains' and the calibration's, about 1 %; the signal's source counts as right to the
/// same degree as it was when the grabber was calibrated. Throws Error(Usage) when the first white is not the
/// lower one, Error(Unusable) when a gain was not measured.
[[nodiscard]] Readings sync_to_white(const Readings& lower, const Readings& higher,
                                     const capture::GrabberCalibration* calibration);

}  // namespace linebench::measure
