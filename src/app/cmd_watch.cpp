// watch: live readings while cables are moved, on the terminal and on a page.
#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <linebench/base/json_text.hpp>
#include <linebench/capture/frame_source.hpp>
#include <linebench/job/store.hpp>
#include <linebench/live/page_server.hpp>
#include <linebench/live/screen.hpp>
#include <linebench/report/format.hpp>
#include <memory>
#include <mutex>
#include <nlohmann/json.hpp>
#include <thread>

#include "commands.hpp"
#include "jobs_store.hpp"
#include "keyboard.hpp"
#include "say.hpp"
#include "show.hpp"
#include "sound.hpp"
#include "watch_sources.hpp"

namespace linebench::app {
namespace {

using namespace std::chrono_literals;
using Clock = std::chrono::steady_clock;

struct WatchOptions {
  WatchFrom from;
  std::string mains = "auto", follow, job, store;
  std::optional<double> seconds;
  bool page = false, lan = false;
  int port = 0;
};

constexpr int usual_port = 8470;

// The store is open as long as the watch: a mark is on the disk before it is on the screen.
class MarkStore {
 public:
  MarkStore(const std::string& store, const std::string& ref)
      : store_(existing_store(store)), job_(store_.job(ref)) {}
  std::string keep(const live::Mark& m, const CaptureFacts& facts) {
    job::Capture c;
    c.label = m.text;
    c.view = facts.kind == "frames" ? "picture" : "audio";
    c.facts = facts;
    c.facts.taken_at = m.at;
    c.facts.notes.push_back(fmt::format("A mark of a live measurement, {:.1f} s after its start.", m.time_s));
    c.verdict = "pass";  // nothing was judged
    c.readings = m.readings;
    (void)store_.add(job_, c);
    return "kept in " + job_.ref;
  }

 private:
  job::Store store_;
  job::Job job_;
};

// What the person types, and what is told beside the readings.
class Hands {
 public:
  Hands(live::Board& board, StopFlag& quit) : board_(board), quit_(quit) {}

  void key(const std::string& k) {
    if (typing_) {
      type(k);
    } else if (k == "q") {
      quit_ = true;
    } else if (k == "h") {
      board_.hold(!board_.look().held);
    } else if (k == "m") {
      typing_ = true;
    }
  }
  [[nodiscard]] std::string prompt() const { return typing_ ? "what was done: " + text_ + "_" : ""; }

 private:
  void type(const std::string& k) {
    if (k == "escape") {
      typing_ = false;
      text_.clear();
    } else if (k == "enter") {
      typing_ = false;
      try {
        (void)board_.mark(text_);
      } catch (const Error& e) {
        board_.say(e.what());
      }
      text_.clear();
    } else if (k == "back") {
      std::size_t at = text_.size();
      while (at > 0 && (static_cast<unsigned char>(text_[at - 1]) & 0xC0U) == 0x80U) --at;
      text_.resize(at > 0 ? at - 1 : 0);
    } else if (text_.size() < live::longest_mark) {
      text_ += k;
    }
  }

  live::Board& board_;
  StopFlag& quit_;
  bool typing_ = false;
  std::string text_;
};

void check(WatchOptions& o) {
  WatchFrom& f = o.from;
  if (!f.audio.empty() && f.picture.empty() && capture::looks_like_frames(f.audio))
    std::swap(f.audio, f.picture);
  if (f.audio.empty() && f.picture.empty())
    throw bad_usage("nothing to watch; give --from DEVICE or FILE, or --picture GRABBER or FILE");
  if (o.seconds) {
    check_seconds(*o.seconds);
    f.pace.seconds = *o.seconds;
  }
  f.meter.mains_hz = mains_hz(o.mains);
  if (!o.page && (o.lan || o.port != 0)) throw bad_usage("--lan and --port belong to --page");
  if (o.job.empty() && !o.store.empty()) throw bad_usage("--store belongs to --job");
}

// Lines for notices of our own: the page's address and code must not go onto the page.
class Watch {
 public:
  Watch(Context& context, WatchOptions& options) : context_(context), options_(options) {}

  Exit run() {
    check(options_);
    if (!options_.job.empty()) marks_ = std::make_unique<MarkStore>(options_.store, options_.job);
    live::Board board(marks_ ? live::Board::MarkKeeper([this](const live::Mark& m, const CaptureFacts& f) {
      return marks_->keep(m, f);
    })
                             : live::Board::MarkKeeper{});
    StopFlag ended = false;  // by Ctrl-C or by key
    WatchSources sources(options_.from, board, ended);
    screen_ = !context_.json && LiveTerminal::possible();
    const std::unique_ptr<live::PageServer> page = options_.page ? open_page(board, sources) : nullptr;
    sources.start();
    try {
      show(board, sources, ended);
    } catch (...) {
      ended = true;
      throw;
    }
    ended = true;
    std::exception_ptr failed;
    try {
      sources.join();
    } catch (...) {
      failed = std::current_exception();
    }
    board.end("");
    if (context_.json)
      print_line(board.newest());
    else
      print_text(live::summary_text(board, style_.width, style_.unicode));
    if (failed) std::rethrow_exception(failed);
    return context_.stop ? Exit::Interrupted : Exit::Ok;
  }

 private:
  std::unique_ptr<live::PageServer> open_page(live::Board& board, const WatchSources& sources) {
    live::PageOptions page{.port = options_.port, .lan = options_.lan, .sound_here = sources.files_only()};
    page.on_code = [this](const std::string& code) { notice(1, "code for the next browser: " + code); };
    std::unique_ptr<live::PageServer> server;
    if (page.port == 0) {
      try {
        page.port = usual_port;
        server = std::make_unique<live::PageServer>(board, page);
      } catch (const Error&) {
        page.port = 0;  // taken, by another watch most likely
      }
    }
    if (!server) server = std::make_unique<live::PageServer>(board, page);
    std::string where = "page:";
    for (const std::string& a : server->addresses()) where += " " + a;
    notice(0, where);
    return server;
  }

  // Comes from the server's threads too.
  void notice(std::size_t line, const std::string& text) {
    const std::scoped_lock guard(notices_lock_);
    if (notices_.size() <= line) notices_.resize(line + 1);
    notices_[line] = text;
    if (!screen_) say("{}\n", text);
  }

  void show(live::Board& board, WatchSources& sources, StopFlag& ended) {
    std::unique_ptr<LiveTerminal> terminal;
    if (screen_) terminal = std::make_unique<LiveTerminal>();
    Hands hands(board, ended);
    auto next_line = Clock::now() + 1s;
    while (sources.running() && !context_.stop && !ended) {
      if (terminal) {
        if (const auto k = terminal->key(80ms)) hands.key(*k);
        draw(board, *terminal, hands.prompt());
      } else {
        std::this_thread::sleep_for(50ms);
        if (Clock::now() >= next_line) {
          next_line += 1s;
          print_line(board.look());
        }
      }
      sing(board, sources);
    }
  }

  void draw(const live::Board& board, LiveTerminal& terminal, const std::string& prompt) {
    const auto size = terminal.size();
    std::vector<std::string> lines;
    {
      const std::scoped_lock guard(notices_lock_);
      for (const std::string& n : notices_) lines.push_back(n.substr(0, size.width));
    }
    const std::size_t rows = size.height > lines.size() + 2 ? size.height - lines.size() : 2;
    for (std::string& line :
         live::screen_lines(board.look(), board.history(), {size.width, rows, style_.unicode}, prompt))
      lines.push_back(std::move(line));
    terminal.draw(lines);
  }

  void print_line(const live::Snapshot& s) {
    if (context_.json) {
      print_text(json_text(live::snapshot_to_json(s)) + "\n");
    } else {
      const std::string line = live::log_line(s);
      print_text((style_.unicode ? line : report::to_ascii(line)) + "\n");
    }
    (void)std::fflush(stdout);
  }

  void sing(const live::Board& board, WatchSources& sources) {
    live::Pitch* pitch = sources.pitch();
    if (pitch == nullptr) return;
    const live::Snapshot s = board.newest();
    const Reading* r = nullptr;
    for (const Reading& one : s.readings) {
      const std::string wanted = options_.follow.empty() ? "audio.hum.level" : options_.follow;
      if (r == nullptr && one.id.starts_with(wanted)) r = &one;
    }
    pitch->follow(r != nullptr ? live::pitch_hz(*r) : std::nullopt);
  }

  Context& context_;
  WatchOptions& options_;
  report::TerminalStyle style_ = terminal_style(false);
  std::unique_ptr<MarkStore> marks_;
  bool screen_ = false;
  std::mutex notices_lock_;
  std::vector<std::string> notices_;
};

void add_options(CLI::App& c, WatchOptions& o) {
  c.add_option("--from", o.from.audio,
               "A sound device (its name or a part of it), or a file: sound or frames");
  c.add_option("--picture", o.from.picture,
               "A video grabber, or a file of frames, beside or instead of sound");
  c.add_option("--input", o.from.input, "Which input of the grabber");
  c.add_option("--standard", o.from.standard, "Lines of the television standard")
      ->check(CLI::IsMember({"525", "625", "auto"}))
      ->capture_default_str();
  add_rate_option(c, o.from.rate_hz, "the device's own");
  c.add_option("--channels", o.from.channels, "How many channels; otherwise two, or one where it has no more")
      ->check(CLI::Range(1, 8));
  c.add_option("--seconds", o.seconds, "End after so much of the stream; otherwise by q or Ctrl-C");
  c.add_option("--speed", o.from.pace.speed, "A file's pace: stream seconds a second; 0: as fast as it goes")
      ->check(CLI::Range(0.0, 10000.0))
      ->capture_default_str();
  c.add_flag("--repeat", o.from.pace.repeat, "A file again and again");
  c.add_option("--mains", o.mains, "Where to look for hum")
      ->check(CLI::IsMember({"50", "60", "auto"}))
      ->capture_default_str();
  c.add_option("--tone", o.from.meter.tone_hz, "A tone that is being sent, Hz: never taken for hum")
      ->check(CLI::Range(1.0, 100000.0));
  c.add_flag("--page", o.page, "A page for a browser on this machine");
  c.add_option("--port", o.port, "The page's port; otherwise 8470, or a free one")
      ->check(CLI::Range(1, 65535));
  c.add_flag("--lan", o.lan, "The page for other machines too, by a one-time code; not encrypted");
  c.add_option("--job", o.job, "Keep marks in this job: its name, the end of it, or `last`");
  c.add_option("--store", o.store, "The job store; without it this user's own");
  c.add_option("--pitch", o.from.pitch, "A pitch that follows a reading, out of this sound device");
  c.add_flag("--pitch-checked", o.from.pitch_checked,
             "You looked: the pitch's device does not lead into the path");
  c.add_option("--follow", o.follow, "Which reading the pitch follows; otherwise the first channel's hum");
}

}  // namespace

void add_watch(CLI::App& app, Context& context) {
  auto o = std::make_shared<WatchOptions>();
  CLI::App* c =
      app.add_subcommand("watch", "Live readings while cables are moved, on the terminal and on a page");
  add_options(*c, *o);
  c->callback([&context, o] { context.action = [&context, o] { return Watch(context, *o).run(); }; });
}

}  // namespace linebench::app
