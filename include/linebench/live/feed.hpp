// What feeds a live measurement: a sound device, a grabber, or a file at real time or faster.
#pragma once

#include <filesystem>
#include <functional>
#include <linebench/base/audio_source.hpp>
#include <linebench/base/progress.hpp>
#include <linebench/capture/grabber.hpp>
#include <linebench/capture/picture_session.hpp>
#include <linebench/capture/session.hpp>
#include <linebench/live/audio_meter.hpp>
#include <linebench/live/board.hpp>
#include <linebench/live/picture_meter.hpp>
#include <memory>
#include <string>

namespace linebench::live {

/// How a file is fed.
struct Pace {
  double speed = 1;     ///< stream seconds a second; 0: as fast as it goes
  bool repeat = false;  ///< from the start again at the end, without a pause
  double seconds = 0;   ///< of stream; 0: to the end, or until stopped
};

/// Opens the same source anew, for repeating.
using AudioOpener = std::function<std::unique_ptr<AudioSource>()>;
using FramesOpener = std::function<std::unique_ptr<capture::FrameSource>()>;

/// Feeds until the end, the pace's seconds or `stop`. Throws Error(Unusable) as opening and reading do.
void feed_audio(const AudioOpener& open, const AudioMeterOptions& options, const Pace& pace, Board& board,
                const StopFlag& stop);
void feed_frames(const FramesOpener& open, const measure::PictureOptions& options, const Pace& pace,
                 Board& board, const StopFlag& stop);

/// Feeds from an open sound session until `stop`, `seconds` of stream (0: no end) or until the device is
/// lost. Lost samples start the windows anew and are said. @return as the session ended.
capture::Outcome feed_sound(capture::Session& session, const CaptureFacts& facts,
                            const AudioMeterOptions& options, double seconds, Board& board,
                            const StopFlag& stop);

/// The same from an open grabber.
capture::PictureOutcome feed_grabber(capture::GrabberStream& stream, const std::string& name,
                                     const measure::PictureOptions& options, double seconds, Board& board,
                                     const StopFlag& stop);

}  // namespace linebench::live
