// A grabber's calibration step by step: what to send is said, taken in, looked at and learnt.
#include <fmt/format.h>

#include <iostream>
#include <linebench/capture/picture_session.hpp>
#include <linebench/measure/grabber.hpp>

#include "calibrate_steps.hpp"
#include "cmd_calibrate_picture.hpp"
#include "measure_frames.hpp"
#include "say.hpp"
#include "sound.hpp"

namespace linebench::app {
namespace {

// Frames are numbered, so those that are missing leave no error, but fewer to take means of.
constexpr double most_lost = 0.5;

struct Step {
  const char* signal;  ///< the recipe
  const char* what;
  bool padded = false;
};
constexpr Step steps[] = {{"video-bars-75", "bars of 75 %"},
                          {"video-bars-100", "bars of 100 %"},
                          {"video-multiburst", "the multiburst"},
                          {"video-bars-100", "bars of 100 % through a pad", true}};

enum class Answer { Take, Skip, End };

// A line typed; the end of input ends the calibration.
Answer asked(const std::string& question) {
  say("{}", question);
  std::string line;
  if (!std::getline(std::cin, line)) {
    say("\n");
    return Answer::End;
  }
  if (line == "s") return Answer::Skip;
  return line == "q" ? Answer::End : Answer::Take;
}

class Guide {
 public:
  Guide(const GrabberSteps& given, Context& context) : given_(given), context_(context) {}

  Exit run() {
    // Before anything is asked: is it there?
    const auto grabbers = capture::open_grabber_system()->grabbers();
    (void)capture::choose_input(capture::choose_grabber(grabbers, given_.grabber.from), given_.grabber.input);
    say("A source that is right (a generator, or 'linebench signals show NAME --screen' on a computer's "
        "composite "
        "output), one short cable, nothing else on it. 's' skips a step, 'q' ends.\n");
    int number = 0;
    for (const Step& s : steps) {
      ++number;
      if (s.padded && (straight_.empty() || given_.pad_db == 0)) {
        if (!straight_.empty())
          say("Whether its gain follows sync: with a pad of known loss, --pad-db 6, it would be asked as "
              "well.\n");
        continue;
      }
      if (!step(s, number)) break;
    }
    if (!learnt_)
      throw unusable("nothing was learnt of the grabber; what was known of it before, if anything, stays");
    store_grabber_calibration(known_, context_);
    return context_.stop ? Exit::Interrupted : Exit::Ok;
  }

 private:
  // @return false where the person ends it
  bool step(const Step& s, int number) {
    for (;;) {
      const Answer a =
          asked(fmt::format("{}. Send {} ({}){}. Enter takes {:g} s in: ", number, s.what, s.signal,
                            s.padded ? fmt::format(" of {:g} dB", given_.pad_db) : "", given_.seconds));
      if (a == Answer::End) return false;
      if (a == Answer::Skip) return true;
      try {
        const MeasuredFrames m = take(s);
        if (context_.stop) return false;
        learn(s, m);
        learnt_ = true;
        return true;
      } catch (const Error& e) {
        if (context_.stop) return false;
        say("{}\n", e.what());
      }
    }
  }

  MeasuredFrames take(const Step& s) {
    const OpenGrabber g = open_grabber(given_.grabber);
    const std::filesystem::path file = scratch_ / "picture.yuv";
    {
      capture::YuvFileSink sink(file, g.stream->setting());
      capture::PictureOutcome outcome = capture::take_picture(*g.stream, g.identity,
                                                              {.take = &sink,
                                                               .seconds = given_.seconds,
                                                               .watch =
                                                                   [](const capture::PictureStatus& status) {
                                                                     if (!status.event.empty())
                                                                       say("{}\n", status.event);
                                                                   },
                                                               .stop = &context_.stop});
      outcome.facts.device = g.device;
      const CaptureFacts f = sink.finish(outcome);
      if (outcome.end != capture::End::Complete && !context_.stop) throw unusable(outcome.line);
      const auto lost = static_cast<double>(f.dropped);
      if (lost > most_lost * (lost + static_cast<double>(f.frames)))
        throw unusable(fmt::format("{} of {} frames were lost: end other programs, then once more", f.dropped,
                                   f.dropped + f.frames));
      if (f.dropped > 0) say("{} frames were lost; the other {} are enough\n", f.dropped, f.frames);
    }
    if (context_.stop) return {};
    MeasuredFrames m = measure_frames_raw(file.string(), s.signal, context_);
    m.facts.device = g.device;
    return m;
  }

  void learn(const Step& s, const MeasuredFrames& m) {
    const Reading* pattern = find_reading(m.readings, "picture.pattern");
    const std::string seen = pattern != nullptr && pattern->measured() ? pattern->text() : "no picture";
    const std::string wanted = std::string(s.signal).substr(6);
    if (seen != wanted)
      throw unusable(fmt::format("seen: {}, not {}; check source and cable, then once more", seen, s.what));
    if (!learnt_) {
      known_ = capture::find_grabber(m.facts.device, m.lines).value_or(capture::GrabberCalibration{});
      known_.device = m.facts.device;
      known_.lines = m.lines;
    } else if (known_.lines != m.lines) {
      throw unusable(fmt::format("now {} lines, before {}; one standard at a time", m.lines, known_.lines));
    }
    const Reading* gain = find_reading(m.readings, "picture.luma.gain");
    if (!s.padded && gain != nullptr && gain->measured() && std::abs(gain->number() - 100) > 25)
      throw unusable(
          fmt::format("a gain of {:.0f} % is beyond any grabber's own: is it {}, ended in 75 ohm once?",
                      gain->number(), s.what));
    if (s.padded) {
      measure::learn_gain_control(known_, straight_, m.readings, given_.pad_db);
      return;
    }
    measure::learn_grabber(known_, m.readings);
    if (wanted == "bars-100") straight_ = m.readings;
    say("learnt from {}.\n", s.what);
  }

  const GrabberSteps& given_;
  Context& context_;
  ScratchFolder scratch_;
  capture::GrabberCalibration known_;
  Readings straight_;
  bool learnt_ = false;
};

}  // namespace

Exit calibrate_grabber_guided(const GrabberSteps& given, Context& context) {
  return Guide(given, context).run();
}

}  // namespace linebench::app
