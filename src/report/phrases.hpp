// The one place for the short words of reports, tables and plots: headings, captions, verdict lines. What a
// reading out of limits means and what to do stands in words.cpp, what the guided jobs say in signals/words.
// A translation needs these three, the labels of the catalogue and the fault book. {} is filled in and must
// stay.
#pragma once

#include <string_view>
#include <utility>

namespace linebench::report::phrase {

// clang-format off
// Marks and words before a text.
inline constexpr char do_this[] = "Do:";
inline constexpr char caution_loud[] = "CAUTION: ";
inline constexpr char caution[] = "Caution:";
inline constexpr char note[] = "Note: ";
inline constexpr char next[] = "Next:";
inline constexpr char next_test[] = "Next test:";
inline constexpr char remedy[] = "Remedy:";
inline constexpr char none_sent[] = "no signal";
inline constexpr char none_back[] = "nothing came back";

// Verdicts; a mark's own word is a class of the page's style too, and stands in view.cpp.
inline constexpr char fail[] = "FAIL";
inline constexpr char ok[] = "ok";
inline constexpr char sound[] = "SOUND";
inline constexpr char fault[] = "FAULT";
inline constexpr char open_verdict[] = "OPEN";
inline constexpr char done_verdict[] = "DONE";
inline constexpr char stop_weight[] = "STOP";
inline constexpr char change_weight[] = "CHANGE";

// The table of readings and what stands around it.
inline constexpr char out_of_limits[] = "Out of limits, worst first";
inline constexpr char could_not[] = "Could not be measured";
inline constexpr char all_readings[] = "All readings";
inline constexpr char judged_readings[] = "Readings, as they were judged";
inline constexpr char short_paper[] =
    "What was judged is shown, and plots of what decides. Every reading and plot: linebench report {} --all";
inline constexpr char remarks[] = "Remarks";
inline constexpr char limits_from[] = "Limits from: {}.";
inline constexpr char uncertainty_is[] = " is the expanded uncertainty (k=2, about 95 %).";
inline constexpr char harmonics[] = "Harmonics: ";
inline constexpr char hum_harmonics[] = "Hum harmonics";
inline constexpr char all_lists_them[] = " (--all lists them)";
inline constexpr char limits[] = "limits: ";
inline constexpr char required[] = "required";
inline constexpr char reading[] = "Reading";
inline constexpr char value[] = "Value";
inline constexpr char unit[] = "Unit";
inline constexpr char verdict[] = "Verdict";
inline constexpr char limit[] = "Limit";
// How the status of a figure in a limit's source is put to who is handed the paper.
inline constexpr std::pair<std::string_view, std::string_view> source_on_paper[] = {
    {"tolerance from memory", "tolerance common practice"},
    {", from memory", ""},
    {", secondary source", ""},
    {", seen", ""}};
inline constexpr char limit_and_source[] = "Limit and its source";
inline constexpr char remark[] = "Remark";
inline constexpr char capture[] = "Capture";
inline constexpr char worst_finding[] = "Worst finding";
inline constexpr char summary[] = "Summary";
inline constexpr char plots[] = "Plots";
inline constexpr char captures_out[] = "{}: {} of {} captures out of limits";
inline constexpr char page_footer[] =
    "\u00b1 is the expanded uncertainty (k = 2, about 95 %). Levels in dBFS: a full-scale sine is 0 dBFS "
    "(AES17). Limits marked \u201ccommon practice\u201d are the trade\u2019s, not a standard\u2019s.";

// Facts of a capture.
inline constexpr char frames_per_second[] = "{:.4g} frames per second";
inline constexpr char mono[] = "mono";
inline constexpr char stereo[] = "stereo";
inline constexpr char channels[] = "{} channels";
inline constexpr char signal[] = "signal: ";
inline constexpr char calibration[] = "calibration: ";
inline constexpr char taken[] = "taken ";
inline constexpr char full_scale[] = "full scale {:.4g} V peak";
inline constexpr char not_calibrated_volts[] = "not calibrated in volts";
inline constexpr char overruns[] =
    "{} overrun{} while it was taken: samples are missing, so readings over time are in doubt. Take it "
    "again with fewer programs running.";
inline constexpr char lost[] = "{} {} were lost while it was taken.";
inline constexpr char ended_early[] = "The capture ended before its time; what was taken was measured.";
inline constexpr char comb_strongest[] = "{} found, strongest {} dBFS";

// The verdict line.
inline constexpr char on_the[] = " on the ";
inline constexpr char could_not_be[] = " could not be measured";
inline constexpr char no_limit_set[] = "no limit set applied; --limits NAME judges";
inline constexpr char more_out[] = ", and {} more out of limits";
inline constexpr char rest_within[] = "; all else is within limits";
inline constexpr char one_within[] = "the one reading judged is within its limit";
inline constexpr char all_within[] = "all {} readings judged are within limits";
inline constexpr char one_close[] = ", but by less than its uncertainty";
inline constexpr char some_close[] = ", {} of them by less than {} uncertainty";
inline constexpr char not_excluded[] = "; not excluded: {}";
inline constexpr char slow_hum[] = "hum bars that stand or move slowly";
inline constexpr char only_idle[] = "; nothing was being sent, so this is the idle path's noise alone";
inline constexpr char check_cable[] =
    "Check that the cable is in this input, that the input is not muted and its level is up, and that "
    "the source is on; then take it again.";
inline constexpr char one_side_wired[] = " Where only one side is wired, take in one channel (--channels 1).";
inline constexpr char there_within[] = "; what is there is within limits";
inline constexpr char no_video[] = "no composite video: ";
inline constexpr char no_picture[] = "no picture: ";
inline constexpr char nothing_measured[] = "nothing could be measured: ";

// A job on paper.
inline constexpr char result[] = "Result";
inline constexpr char found[] = "What was found";
inline constexpr char likely_wrong[] = "What is likely wrong";
inline constexpr char connected[] = "How it was connected";
inline constexpr char job[] = "Job";
inline constexpr char reported[] = "Reported";
inline constexpr char site[] = "Site";
inline constexpr char station[] = "Station";
inline constexpr char opened[] = "Opened";
inline constexpr char last_change[] = "Last change";
inline constexpr char utc[] = " UTC";
inline constexpr char station_serial[] = "{}, serial {}";
inline constexpr char job_open[] = "open";
inline constexpr char not_calibrated[] = ", not calibrated";
inline constexpr char calibrated_by[] = ", calibration ";
inline constexpr char from_device[] = ", from ";
inline constexpr char sha256[] = ", SHA-256 ";
inline constexpr char taken_again[] = ". Taken or measured again later, or no longer asked for; not shown above";
inline constexpr char then_note[] = ". Note: ";
inline constexpr char program[] = "Program";
inline constexpr char used[] = "What was used";
inline constexpr char measured_at[] = "{}measured {} UTC";
inline constexpr char path[] = "Path: ";
inline constexpr char job_ref[] = "Job ";
inline constexpr char checklist[] = "Checklist";
inline constexpr char answers[] = "Answers given";
inline constexpr char notes[] = "Notes";

// A diagnosis.
inline constexpr char do_next[] = "Do next";
inline constexpr char then_tell[] = "then tell: --observed ";
inline constexpr char then_tell_page[] = "then tell:";
inline constexpr char mostly_with[] = "Here mostly together with: ";
inline constexpr char piece_for[] = "For:";
inline constexpr char earth_stays[] =
    "If an earth or a shield was taken off for this, put it back before anything else: never leave a "
    "protective earth off, not even to cure hum; an isolation transformer in the signal breaks the loop. "
    "Shields between separately fed buildings are measured before they are unplugged. Local code and a "
    "licensed person decide about earths.";
inline constexpr char piece_against[] = "But:";
inline constexpr char piece_left[] = "Left:";
inline constexpr char not_by_it[] = "not explained by it, of another fault then: ";
inline constexpr char not_by_it_page[] = "Not explained by it, of another fault then:";
inline constexpr char test[] = "Test: ";
inline constexpr char tell[] = "Tell: ";
inline constexpr char cure[] = "Cure: ";
inline constexpr char once_more[] = "Once more, before anything is changed: it or the captures are wrong. ";
inline constexpr char or_again[] = " (with \" again\" behind it if it comes out the same)";
inline constexpr char not_yet[] =
    "not yet: what was tried speaks against this fault ({}). Where it comes out so again, something else "
    "shows in the same way";
inline constexpr char but_held[] = "{}, but what was tried speaks against it ({})";
inline constexpr char and_more[] = "and {} more (--explain {})";
inline constexpr char under_a_minute[] = "under a minute";
inline constexpr char settles_most[] = ", settles most of what is open";
inline constexpr char settles_much[] = ", settles a good part of what is open";
inline constexpr char nothing_came_by[] =
    "Nothing came in by {}: every sample is the same. Check that the cable is in and the input is not "
    "muted, then find where along the path the signal ends";
inline constexpr char most_likely_nothing[] = "Most likely nothing is wrong in what was measured ({})";
inline constexpr char not_in_book[] = "Something is wrong that the book does not list ({})";
inline constexpr char too_little[] =
    "Nothing speaks clearly of a fault, and too little was measured to call it good (nothing wrong {})";
inline constexpr char only_observed[] =
    "Nothing captured shows a fault (nothing wrong {}), but what was observed speaks of one";
inline constexpr char only_limits[] =
    "No fault of the book shows (nothing else wrong {}), but what was captured is not within its limits";
inline constexpr char none_stands_out[] = "No fault of the book stands out (something else {})";
inline constexpr char all_but_certain[] = "is all but certain";
inline constexpr char likely[] = "is likely";
inline constexpr char best_guess[] = "is the best guess so far";
inline constexpr char from_signs[] =
    "from {} sign{} \u00b7 nothing wrong {} \u00b7 something not in the book {}";
inline constexpr char likeliest_faults[] = "Likeliest faults";
inline constexpr char how_worked_out[] =
    "Probabilities are worked out from the readings with their uncertainties and the fault book; how "
    "often a fault occurs is the project's estimate. Two faults can be there at once, so the percentages "
    "need not add up to 100.";
inline constexpr char page_title[] = "What is wrong, and what to do next";
inline constexpr char from_signs_page[] =
    "From {} sign{}: readings with their uncertainties, and what was seen or metered.";
inline constexpr char likeliest[] = "Likeliest";
inline constexpr char evidence[] = "Evidence";
inline constexpr char nothing_wrong[] = "Nothing wrong";
inline constexpr char unlisted[] = "Something the book does not list";
inline constexpr char for_it[] = "For it";
inline constexpr char against_it[] = "Against it";
inline constexpr char tells_apart[] = "Tells it apart:";
inline constexpr char cure_page[] = "Cure:";
inline constexpr char how_worked_out_page[] =
    "In brackets: how many times likelier the evidence is with the fault than with nothing wrong. How "
    "often a fault occurs is the project\u2019s estimate. Two faults can be there at once, so "
    "percentages need not add up to 100.";

// A diagnosis explained.
inline constexpr char before_evidence[] =
    "Before any evidence: {:.1f} % of jobs (the project's estimate), odds {:.4f}.";
inline constexpr char shows_in[] = "Shows in: {}. Told from nothing wrong: {}.";
inline constexpr char see_effects[] = "see the effects";
inline constexpr char evidence_each[] =
    "The evidence, one by one (times likelier with this fault than with nothing wrong)";
inline constexpr char evidence_all[] =
    "All together, at one severity and in one way for all, averaged over both (so no plain product)";
inline constexpr char does_nothing_to[] = "Taken too, but this fault does nothing to it: ";
inline constexpr char odd[] = "Odd, and not explained by this fault";
inline constexpr char sum[] = "The sum (weights against nothing wrong)";
inline constexpr char sum_line[] = "Odds before {:.4f} times all together {} = weight of this fault alone.";
inline constexpr char after_evidence[] =
    "After the evidence: {}.{} If it is there, its severity is {:.0f} of 100.";
inline constexpr char likeliest_way[] = " Likeliest way: ";
inline constexpr char beside_it[] = "Beside it";
inline constexpr char what_tells_apart[] = "What tells it apart";
inline constexpr char cure_title[] = "Cure";
inline constexpr char source[] = "Source: ";

// A comparison.
inline constexpr char at_least[] = "at least ";
inline constexpr char changed[] = "Changed, surest first";
inline constexpr char stayed[] = "{} readings stayed within their uncertainty{}";
inline constexpr char before_after[] = "before: {} \u00b7 after: {}";
inline constexpr char to_the_ranking[] = "What it does to the ranking";
inline constexpr char ranking_sound[] = "nothing wrong";

// Plots of sound.
inline constexpr char response_axes[] = "Gain over frequency";
inline constexpr char spectrum[] = "Spectrum";
inline constexpr char spectrum_axes[] = "Level of each line over frequency, mains harmonics marked";
inline constexpr char mains_harmonics[] = "mains harmonics";
inline constexpr char mains_comb[] =
    "Mains comb at {:.2f} Hz{}: {} harmonics found; numbers count from the mains frequency.";
inline constexpr char level_over_time[] = "Level over time";
inline constexpr char level_axes[] = "Peak and rms level over time with clipping, clicks and dropouts marked";
inline constexpr char rms_to_peak[] = "rms to peak";
inline constexpr char plot_limit[] = "limit";
inline constexpr char plot_uncertainty[] = "\u00b1 uncertainty";
inline constexpr char plot_response[] = "response";
inline constexpr char plot_clipping[] = "clipping";
inline constexpr char plot_click[] = "click";
inline constexpr char plot_dropout[] = "dropout";

// Plots of composite video.
inline constexpr char standard_sync[] = "standard: sync {:.0f}, blanking 0";
inline constexpr char standard_black[] = ", black {:.0f}";
inline constexpr char standard_white[] = ", white {:.0f} mV";
inline constexpr char line_n[] = "Line {}";
inline constexpr char one_line[] = "One line";
inline constexpr char line_axes[] = "Level over time of one line, from 2 us before the leading edge of sync";
inline constexpr char line_caption[] = "Time from the leading edge of sync (50 % point), level re blanking.";
inline constexpr char as_received[] = "as received";
inline constexpr char overlay[] = "{} lines of one frame over one another";
inline constexpr char overlay_axes[] = "Level over time of picture lines, drawn over one another";
inline constexpr char bars_belong[] = "where the bars' colours belong";
inline constexpr char chrominance[] = "Chrominance";
inline constexpr char chrominance_axes[] =
    "Chrominance along the lines as vectors: B-Y to the right, R-Y upwards, peak amplitude";
inline constexpr char chrominance_caption[] =
    "Peak amplitude along the axes of (B-Y) and (R-Y){}; the angle counts from (B-Y). Dashed: the burst.";
inline constexpr char v_switch_undone[] = ", V switch undone";
inline constexpr char along_lines[] = "along the lines";
inline constexpr char plot_burst[] = "burst";
inline constexpr char line_spectrum_axes[] = "Mean spectrum of the lines";
inline constexpr char line_spectrum_caption[] =
    "Mean over lines; a sine of 1 V peak to peak stands at 0 dB. One line's length resolves 16 kHz.";

// Figures of a grabber's picture.
inline constexpr char frame_title[] = "First frame with what was found";
inline constexpr char first_frame[] = "First frame";
inline constexpr char nothing_to_draw[] = "Nothing found to draw on it.";
inline constexpr char sideways_times[] =
    "Line down the middle: how far each line stands sideways, {:.0f} times enlarged.";
inline constexpr char sideways[] = "Line down the middle: how far each line stands sideways.";
inline constexpr char hum_right[] = "Right: the hum that was found, row by row, in % of white";
inline constexpr char rows_thin[] = "; thin, the level of the rows themselves.";
inline constexpr char moves[] = "The picture moves {} by {:.2f} lines a frame.";
inline constexpr char down[] = "down";
inline constexpr char up[] = "up";
inline constexpr char hum_column[] = "hum";
inline constexpr char along_line[] = "Level along the line";
inline constexpr char along_line_axes[] = "Luminance codes of the mean line over time";
inline constexpr char mean_alike[] = "mean of all lines that look alike";
inline constexpr char dotted[] = "Dotted: black (16) and white (235) [BT.601].";
inline constexpr char rows_spectrum[] = "Spectrum of the row means";
inline constexpr char rows_spectrum_axes[] = "Peak-to-peak level over frequency, hum marked";
inline constexpr char rows_spectrum_caption[] = "Level of the rows over time, two seconds, peak to peak.";
inline constexpr char hum_dots[] = " Dots: the hum and its multiples.";
inline constexpr char what_moves[] = " What moves in the picture shows near multiples of the field rate.";
inline constexpr char roll_track[] = "Track of the roll";
inline constexpr char roll_axes[] = "Vertical place of the picture over time";
inline constexpr char roll_unit[] = "lines, down is more";
inline constexpr char roll_place[] = "place of the picture";
inline constexpr char roll_caption[] = "A straight track is a picture that does not lock; steps are jumps.";
inline constexpr char multiburst[] = "Multiburst response";
inline constexpr char multiburst_axes[] = "Packet amplitude over frequency";
inline constexpr char re_reference[] = "re the reference";

// clang-format on
}  // namespace linebench::report::phrase
