// What a calibration works from: the card itself, or recordings made of it earlier.
#pragma once

#include <filesystem>
#include <linebench/capture/session.hpp>
#include <memory>
#include <string>
#include <vector>

#include "commands.hpp"
#include "sound.hpp"

namespace linebench::app {

/// The card being calibrated. Recordings may be worked on long after it was unplugged: sound devices are only
/// looked at when they are needed.
class Card {
 public:
  /// @param device what the user called it; may be empty where a recording knows.
  /// @param to another device to send from; empty: the card itself.
  /// @param channels inputs to take in; 0: two, or what it has if less.
  Card(std::string device, std::string to, double rate_hz, int channels)
      : device_(std::move(device)), to_(std::move(to)), rate_hz_(rate_hz), channels_(channels) {}

  /// Its identity: as given where that is a whole one ("ALSA: name"), else by the recording's own facts, else
  /// the device that fits. Throws Error(Usage) when nothing says.
  [[nodiscard]] std::string identity(const std::string& recording);
  /// The identity of the output, the same way.
  [[nodiscard]] std::string output_identity();

  /// Takes in what is plugged into it. Throws as a session, and Error(Interrupted) after Ctrl-C,
  /// Error(Unusable) when the recording has gaps.
  void record(double seconds, const Context& context, const std::filesystem::path& out);
  /// Sends a signal and takes in the return. Throws alike.
  /// @return the same signal again, to compare with.
  [[nodiscard]] std::unique_ptr<AudioSource> send_and_record(const SignalOptions& signal,
                                                             const Context& context,
                                                             const std::filesystem::path& out);

 private:
  const capture::SoundDevice& input();
  const capture::SoundDevice& output();
  const std::vector<capture::SoundDevice>& devices();

  std::string device_;
  std::string to_;
  double rate_hz_;
  int channels_;
  std::unique_ptr<capture::SoundSystem> system_;
  std::vector<capture::SoundDevice> devices_;
};

}  // namespace linebench::app
