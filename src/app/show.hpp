// The end of every measuring command: judge the readings, show the document, give the exit code.
#pragma once

#include <linebench/base/error.hpp>
#include <linebench/judge/asked.hpp>
#include <linebench/measure/audio.hpp>
#include <linebench/measure/picture.hpp>
#include <linebench/measure/traces.hpp>
#include <linebench/measure/video_traces.hpp>
#include <linebench/report/document.hpp>
#include <linebench/report/terminal.hpp>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "commands.hpp"
#include "say.hpp"

namespace linebench::app {

/// What the user asked for, and what the page needs beside the readings.
struct ShowOptions {
  std::string html;                                 ///< write a page to this file; empty: none
  std::string job{};                                ///< keep it in this job of the job store; empty: nowhere
  std::string store{};                              ///< the store; empty: this user's own
  std::string file{};                               ///< the capture's file, for the job; empty: none was kept
  bool all = false;                                 ///< show every reading (each hum harmonic) in the table
  std::vector<measure::ChannelTraces> traces{};     ///< for the page's plots; may be empty
  std::optional<measure::VideoTraces> video{};      ///< for the pictures of composite samples
  std::optional<measure::PictureTraces> picture{};  ///< the same of frames
};

/// The terminal as it is: colour only on a terminal that has it and where NO_COLOR is unset, ASCII where the
/// locale is not UTF-8, its width (at most 100 columns; 80 where there is no terminal, or $COLUMNS).
[[nodiscard]] report::TerminalStyle terminal_style(bool all);

/// "2026-11-25 09:45 UTC", for the foot of a page.
[[nodiscard]] std::string now_utc();

/// The document of the JSON contract on standard output. Throws Error(Unusable) when it cannot be written.
void print_json(const report::Document& document);

/// A source with facts that the user added on the command line.
class KnownSource : public AudioSource {
 public:
  /// @param inner must outlive this.
  explicit KnownSource(AudioSource& inner) : inner_(inner), facts_(inner.facts()) {}
  [[nodiscard]] const CaptureFacts& facts() const override { return facts_; }
  [[nodiscard]] CaptureFacts& edit_facts() { return facts_; }
  std::size_t read(std::span<float> interleaved) override;

 private:
  AudioSource& inner_;
  CaptureFacts facts_;
};

/// measure::measure_audio(), and where a page is wanted the traces for its plots in the same pass.
[[nodiscard]] Readings measure_traced(AudioSource& source, const measure::AudioOptions& options,
                                      const Progress& progress, const StopFlag& stop, ShowOptions& show);

/// Throws Error(Usage) when the page would replace the capture itself, Error(Unusable) when its folder is not
/// there.
void check_page_path(const std::string& html, const std::string& input);

/// Throws Error(Usage) when the job it is to be kept in is not there; nothing where none was asked for.
void check_job(const ShowOptions& options);

/// Adds --limits, --html, --all, --job and --store to a command. The references must live as long as the
/// command.
void add_show_options(CLI::App& command, ShowOptions& options, std::string& limits);

/// Judges the document's readings by this set (a name or a path) and fills verdict, limit_set and missing.
/// An empty name judges nothing: readings stay `info`, the verdict is "pass" and limit_set is empty.
/// Call check_limits() before measuring, so that an unknown set is said at once and not after a long capture.
/// @param asked what the capture can show, by what was sent.
void judge_document(report::Document& document, const std::string& limits, const judge::Asked& asked = {});

/// Throws as judge_document() would for a set that is unknown or wrong; nothing for an empty name.
void check_limits(const std::string& limits);

/// What --mains 50, 60 or auto asks for; nothing for auto.
[[nodiscard]] std::optional<double> mains_hz(const std::string& choice);

/// After Ctrl-C (context.stop) in the midst of measuring: throws Error(Interrupted), as a part of a capture
/// must not pass for the whole of it. The capture itself stays as it is.
void refuse_part(const Context& context, const std::string& capture);

/// Prints the document on standard output (JSON with --json, else the table), writes the page if asked.
/// @return Ok for "pass", OutOfLimits for "fail" and for "incomplete" (not everything required was shown to
/// be within limits), Interrupted after Ctrl-C (context.stop). Throws Error(Unusable) when the page or
/// standard output cannot be written.
Exit show(const Context& context, const report::Document& document, const ShowOptions& options);

}  // namespace linebench::app
