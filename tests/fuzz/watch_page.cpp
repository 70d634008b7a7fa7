// The live page's server, asked with any bytes over loopback: once on this machine, once as others see it,
// where nothing may come out without the code.
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <linebench/live/page_server.hpp>
#include <stdexcept>
#include <string>

#include "target.hpp"

using namespace linebench;

namespace {

struct Page {
  explicit Page(bool lan) {
    live::AudioView v;
    v.time_s = 1;
    v.readings = {number_reading("audio.hum.level", -40, 0.1)};
    CaptureFacts f;
    f.source = "counter 2";
    board.begin(f);
    board.publish(v);
    server = std::make_unique<live::PageServer>(board, live::PageOptions{.lan = lan});
  }
  live::Board board;
  std::unique_ptr<live::PageServer> server;
};

// Another address of this machine each time, so that the limit of requests a second is not all there is.
sockaddr_in next_address() {
  static std::uint32_t n = 0;
  sockaddr_in a{};
  a.sin_family = AF_INET;
  a.sin_addr.s_addr = htonl(0x7f010001 + (n++ % 0xfffff));
  return a;
}

std::string ask(int port, const std::string& bytes) {
  const int fd = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in from = next_address();
  (void)::bind(fd, reinterpret_cast<sockaddr*>(&from), sizeof from);
  sockaddr_in to{};
  to.sin_family = AF_INET;
  to.sin_port = htons(static_cast<std::uint16_t>(port));
  to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(fd, reinterpret_cast<sockaddr*>(&to), sizeof to) != 0)
    throw std::logic_error("the server listens whatever came before");
  (void)::send(fd, bytes.data(), bytes.size(), MSG_NOSIGNAL);
  ::shutdown(fd, SHUT_WR);
  std::string out;
  char block[8192];
  for (ssize_t n = 0; (n = ::recv(fd, block, sizeof block, 0)) > 0;)
    out.append(block, static_cast<std::size_t>(n));
  const linger at_once{1, 0};  // or thousands of closed connections would wait for their ports
  ::setsockopt(fd, SOL_SOCKET, SO_LINGER, &at_once, sizeof at_once);
  ::close(fd);
  return out;
}

// Inputs hold the usual port; the servers here have others.
std::string with_port(std::string_view input, int port) {
  std::string out(input);
  for (std::size_t at = 0; (at = out.find("8470", at)) != std::string::npos;) {
    const std::string p = std::to_string(port);
    out.replace(at, 4, p);
    at += p.size();
  }
  return out;
}

bool good_request_is_answered(int port) {
  const std::string asked =
      "GET /readings HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(port) + "\r\nConnection: close\r\n\r\n";
  return ask(port, asked).find("audio.hum.level") != std::string::npos;
}

}  // namespace

FUZZ_TARGET(watch_page) {
  static Page here(false);
  static Page lan(true);
  const std::string open = ask(here.server->port(), with_port(input, here.server->port()));
  fuzz::require(open.empty() || open.starts_with("HTTP/1."), "an answer or none");
  const std::string shut = ask(lan.server->port(), with_port(input, lan.server->port()));
  fuzz::require(
      shut.find("audio.hum.level") == std::string::npos && shut.find("HTTP/1.1 200") == std::string::npos,
      "nothing without the code");
  static unsigned n = 0;
  if (n++ % 16 == 0)
    fuzz::require(good_request_is_answered(here.server->port()),
                  "a good request is answered after any other");
}
