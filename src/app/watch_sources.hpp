// What `watch` is fed from, each source on a thread of its own.
#pragma once

#include <exception>
#include <linebench/base/progress.hpp>
#include <linebench/capture/session.hpp>
#include <linebench/live/board.hpp>
#include <linebench/live/feed.hpp>
#include <linebench/live/pitch.hpp>
#include <memory>
#include <optional>
#include <string>
#include <thread>
#include <vector>

namespace linebench::app {

struct WatchFrom {
  std::string audio;    ///< sound device or file; empty: none
  std::string picture;  ///< grabber or file of frames; empty: none
  std::string input, standard = "auto";
  std::string pitch;           ///< sound device; empty: none
  bool pitch_checked = false;  ///< the person looked where it plays
  double rate_hz = 0;
  int channels = 0;
  live::Pace pace;
  live::AudioMeterOptions meter;
};

/// Opens everything first, so that what cannot be used is said before anything runs; then runs until the end
/// of all sources, or `stop`. Throws Error as opening does.
class WatchSources {
 public:
  WatchSources(const WatchFrom& from, live::Board& board, const StopFlag& stop);
  ~WatchSources();
  WatchSources(const WatchSources&) = delete;
  WatchSources& operator=(const WatchSources&) = delete;

  /// Starts the threads.
  void start();
  [[nodiscard]] bool running() const { return running_.load() > 0; }
  /// Waits for the threads, and throws what ended one.
  void join();
  /// The pitch, where one was asked for and its device is still there.
  [[nodiscard]] live::Pitch* pitch();
  /// No sound device is watched, so no output can be the path's own.
  [[nodiscard]] bool files_only() const { return !session_; }

 private:
  using Work = std::function<void(const StopFlag&)>;
  void open_audio(const WatchFrom& from);
  void open_picture(const WatchFrom& from);
  void open_pitch(const WatchFrom& from);
  capture::SoundSystem& sound();

  live::Board& board_;
  const StopFlag& stop_;
  std::unique_ptr<capture::SoundSystem> sound_;
  std::unique_ptr<capture::Session> session_;
  std::optional<capture::SoundDevice> watched_;
  std::unique_ptr<capture::GrabberSystem> grabbers_;
  std::unique_ptr<capture::GrabberStream> stream_;
  std::unique_ptr<live::Pitch> pitch_;
  std::vector<Work> work_;
  std::vector<std::thread> threads_;
  std::vector<std::exception_ptr> failed_;
  std::atomic<int> running_ = 0;
};

}  // namespace linebench::app
