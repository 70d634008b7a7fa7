// The HTTP library's server with bounds on what a client may cost: connections, bytes and time.
#pragma once

#include <httplib.h>

#include <chrono>
#include <map>
#include <mutex>
#include <string>

namespace linebench::live {

struct ServerLimits {
  std::size_t connections = 12;
  std::size_t connections_an_address = 6;  // what a browser opens
  std::size_t request_bytes = 16384;
  std::chrono::milliseconds request_time{5000};
  std::chrono::milliseconds idle_time{5000};
  std::size_t requests_a_connection = 1000;
};

class LimitedServer final : public httplib::Server {
 public:
  explicit LimitedServer(const ServerLimits& limits = {});

 private:
  bool process_and_close_socket(socket_t sock) override;
  // @return false where there are too many already.
  bool enter(const std::string& address);
  void leave(const std::string& address);

  ServerLimits limits_;
  std::mutex lock_;
  std::size_t open_ = 0;
  std::map<std::string, std::size_t> by_address_;
};

}  // namespace linebench::live
