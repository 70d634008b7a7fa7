#include "limited_server.hpp"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <cstring>

namespace linebench::live {
namespace {

using Clock = std::chrono::steady_clock;
using std::chrono::milliseconds;

constexpr std::size_t spare_threads = 4;  // to turn away what is too much

void address_of(socket_t sock, bool remote, std::string& ip, int& port) {
  sockaddr_storage storage{};
  socklen_t length = sizeof storage;
  auto* any = reinterpret_cast<sockaddr*>(&storage);
  if ((remote ? ::getpeername(sock, any, &length) : ::getsockname(sock, any, &length)) != 0) return;
  std::array<char, INET6_ADDRSTRLEN> text{};
  if (storage.ss_family == AF_INET) {
    const auto* in = reinterpret_cast<const sockaddr_in*>(&storage);
    ::inet_ntop(AF_INET, &in->sin_addr, text.data(), text.size());
    port = ntohs(in->sin_port);
  } else if (storage.ss_family == AF_INET6) {
    const auto* in = reinterpret_cast<const sockaddr_in6*>(&storage);
    ::inet_ntop(AF_INET6, &in->sin6_addr, text.data(), text.size());
    port = ntohs(in->sin6_port);
  }
  ip = text.data();
}

// A socket that gives up on a request that is too long or takes too long.
class LimitedStream final : public httplib::Stream {
 public:
  LimitedStream(socket_t sock, const ServerLimits& limits) : sock_(sock), limits_(limits) {}

  void next_request() {
    due_ = Clock::now() + limits_.request_time;
    left_ = limits_.request_bytes;
  }
  /// Something came within the idle time, and the server still runs.
  template <typename Running>
  bool wait(Running running) const {
    const auto until = Clock::now() + limits_.idle_time;
    while (running() && Clock::now() < until) {
      if (at_ < filled_ || ready(POLLIN, milliseconds(100))) return true;
    }
    return false;
  }

  [[nodiscard]] bool is_readable() const override { return at_ < filled_ || ready(POLLIN, remaining()); }
  [[nodiscard]] bool is_writable() const override { return ready(POLLOUT, remaining()); }

  ssize_t read(char* to, std::size_t size) override {
    if (left_ == 0) return -1;
    if (at_ == filled_) {
      if (!ready(POLLIN, remaining())) return -1;
      const ssize_t n = ::recv(sock_, buffer_.data(), buffer_.size(), 0);
      if (n <= 0) return n;
      at_ = 0;
      filled_ = static_cast<std::size_t>(n);
    }
    const std::size_t n = std::min({size, filled_ - at_, left_});
    std::memcpy(to, buffer_.data() + at_, n);
    at_ += n;
    left_ -= n;
    return static_cast<ssize_t>(n);
  }
  ssize_t write(const char* from, std::size_t size) override {
    if (!ready(POLLOUT, remaining())) return -1;
    return ::send(sock_, from, size, MSG_NOSIGNAL | MSG_DONTWAIT);
  }
  void get_remote_ip_and_port(std::string& ip, int& port) const override {
    address_of(sock_, true, ip, port);
  }
  void get_local_ip_and_port(std::string& ip, int& port) const override {
    address_of(sock_, false, ip, port);
  }
  [[nodiscard]] socket_t socket() const override { return sock_; }

 private:
  [[nodiscard]] milliseconds remaining() const {
    return std::max(milliseconds(0), std::chrono::duration_cast<milliseconds>(due_ - Clock::now()));
  }
  [[nodiscard]] bool ready(short what, milliseconds most) const {
    pollfd p{sock_, what, 0};
    int n = 0;
    do {
      n = ::poll(&p, 1, static_cast<int>(most.count()));
    } while (n < 0 && errno == EINTR);
    return n > 0;
  }

  socket_t sock_;
  const ServerLimits& limits_;
  std::array<char, 4096> buffer_{};
  std::size_t at_ = 0, filled_ = 0, left_ = 0;
  Clock::time_point due_ = Clock::now();
};

void close_socket(socket_t sock) {
  ::shutdown(sock, SHUT_RDWR);
  ::close(sock);
}

}  // namespace

LimitedServer::LimitedServer(const ServerLimits& limits) : limits_(limits) {
  new_task_queue = [n = limits.connections + spare_threads] { return new httplib::ThreadPool(n); };
  set_payload_max_length(limits.request_bytes);
  set_tcp_nodelay(true);
  // The library's default would let a second program share the port in silence.
  set_socket_options([](socket_t sock) {
    const int yes = 1;
    ::setsockopt(sock, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  });
}

bool LimitedServer::enter(const std::string& address) {
  const std::scoped_lock guard(lock_);
  if (open_ >= limits_.connections || by_address_[address] >= limits_.connections_an_address) return false;
  ++open_;
  ++by_address_[address];
  return true;
}

void LimitedServer::leave(const std::string& address) {
  const std::scoped_lock guard(lock_);
  --open_;
  if (--by_address_[address] == 0) by_address_.erase(address);
}

bool LimitedServer::process_and_close_socket(socket_t sock) {
  std::string address;
  int port = 0;
  address_of(sock, true, address, port);
  if (!enter(address)) {
    static constexpr std::string_view busy =
        "HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nContent-Length: 0\r\n\r\n";
    (void)::send(sock, busy.data(), busy.size(), MSG_NOSIGNAL | MSG_DONTWAIT);
    close_socket(sock);
    return false;
  }
  LimitedStream stream(sock, limits_);
  const auto running = [this] { return svr_sock_.load() != INVALID_SOCKET; };
  bool good = true;
  for (std::size_t left = limits_.requests_a_connection; left > 0 && stream.wait(running); --left) {
    stream.next_request();
    bool closed = false;
    good = process_request(stream, left == 1, closed, nullptr);
    if (!good || closed) break;
  }
  close_socket(sock);
  leave(address);
  return good;
}

}  // namespace linebench::live
