// The live page: the program serves it itself, to this machine only unless asked otherwise.
#pragma once

#include <functional>
#include <linebench/live/board.hpp>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace linebench::live {

struct PageOptions {
  int port = 0;      ///< 0: a free one
  bool lan = false;  ///< all interfaces, and nothing without the one-time code
  /// The page's own sound is offered to a browser on this machine too, whose output may be the path's;
  /// otherwise only to other devices.
  bool sound_here = false;
  /// Called whenever there is a new one-time code: at the start, when one was used, when too many wrong ones
  /// came. On a thread of the server.
  std::function<void(const std::string& code)> on_code{};
};

/// Serves one page, its readings and nothing else; no path of a request ever reaches the file system.
///
///   GET /          the page; GET /readings, /traces: JSON (with ?after=NUMBER: 204 where none is newer)
///   POST /hold {"on": bool}, /mark {"text": "..."}
///   POST /code {"code": "..."} or GET /?code=...   with `lan`: gives a browser its session
///
/// Every request: Host must be the very address and port it came in by (or localhost), an Origin must be the
/// same (POST: must be there), no other site may have asked (Sec-Fetch-Site), 40 requests a second from an
/// address. At most 12 connections, 6 from an address, 16 kB and 5 s a request. With `lan` a code of eight
/// letters (39 bits) lets one browser in; wrong ones are answered at most once a second and ten of them make
/// it void. There is no encryption: use it in a network you trust.
class PageServer {
 public:
  /// Listens when it returns. Throws Error(Unusable) when the port is taken or cannot be used.
  PageServer(Board& board, PageOptions options);
  ~PageServer();
  PageServer(const PageServer&) = delete;
  PageServer& operator=(const PageServer&) = delete;

  [[nodiscard]] int port() const;
  /// "http://127.0.0.1:8470/"; with `lan` one for each address of this machine.
  [[nodiscard]] std::vector<std::string> addresses() const;
  /// The code that lets the next browser in; empty without `lan`.
  [[nodiscard]] std::string code() const;

 private:
  struct Impl;
  std::unique_ptr<Impl> impl_;
};

/// The page as it is sent, and the content policy that goes with it: nothing but this page's own script,
/// style and server.
[[nodiscard]] const std::string& live_page();
[[nodiscard]] const std::string& content_policy();

}  // namespace linebench::live
