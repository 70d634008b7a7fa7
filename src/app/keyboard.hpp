// A terminal that is drawn on and typed at while something runs.
#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <vector>

namespace linebench::app {

/// Takes the terminal over for as long as it lives: keys come at once and are not echoed, the screen is
/// another one, and all is put back at the end. Only where standard input and output are terminals.
class LiveTerminal {
 public:
  [[nodiscard]] static bool possible();
  LiveTerminal();
  ~LiveTerminal();
  LiveTerminal(const LiveTerminal&) = delete;
  LiveTerminal& operator=(const LiveTerminal&) = delete;

  /// The screen in one write, without clearing first, so that it does not flicker. A terminal that went away
  /// is no error.
  void draw(const std::vector<std::string>& lines);
  /// The next key, waiting no longer than `most`: a character, or "enter", "back", "escape". UTF-8 characters
  /// come whole; arrow and function keys do not come at all. Nothing at the end of input.
  [[nodiscard]] std::optional<std::string> key(std::chrono::milliseconds most);
  struct Size {
    std::size_t width = 80, height = 24;
  };
  /// Asked each time: terminals are resized.
  [[nodiscard]] Size size() const;

 private:
  struct Saved;
  Saved* saved_;
  std::string waiting_;
  std::string drawn_;
};

}  // namespace linebench::app
