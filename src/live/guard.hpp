// Who may ask the live page for what. No sockets here: requests are judged by what they say.
#pragma once

#include <chrono>
#include <functional>
#include <map>
#include <mutex>
#include <set>
#include <string>

namespace linebench::live {

/// What a request says of itself.
struct Asking {
  std::string method, path;
  std::string remote_address;
  std::string local_address;
  std::string host, origin, fetch_site, content_type;
};

/// A refusal: status and a few words; status 0 lets the request pass.
struct Refusal {
  int status = 0;
  const char* words = "";
};

/// Rules that hold for every request, whoever asks. @param port the server's.
[[nodiscard]] Refusal refusal_of(const Asking& asking, int port);

/// At most so many requests a second from an address, with a reserve for bursts. Memory is bounded: addresses
/// that have their reserve back are forgotten. Thread-safe.
class RateLimit {
 public:
  using Clock = std::chrono::steady_clock;
  RateLimit(double a_second, double reserve) : a_second_(a_second), reserve_(reserve) {}
  [[nodiscard]] bool pass(const std::string& address, Clock::time_point now = Clock::now());

 private:
  struct Bucket {
    double left = 0;
    Clock::time_point at;
  };
  double a_second_, reserve_;
  std::mutex lock_;
  std::map<std::string, Bucket> buckets_;
};

/// One-time codes and the sessions they open. Thread-safe.
class Sessions {
 public:
  using Clock = std::chrono::steady_clock;
  explicit Sessions(std::function<void(const std::string&)> on_code);
  [[nodiscard]] std::string code() const;
  enum class Answer { Opened, Wrong, Wait };
  /// Spends the code where it is right. @param token receives the session's.
  Answer try_code(const std::string& text, std::string& token, Clock::time_point now = Clock::now());
  [[nodiscard]] bool knows(const std::string& token) const;

 private:
  void renew();
  std::function<void(const std::string&)> on_code_;
  mutable std::mutex lock_;
  std::string code_;
  std::set<std::string> tokens_;
  int wrong_ = 0;
  Clock::time_point last_wrong_ = Clock::time_point::min();
};

/// `n` letters and digits that cannot be mistaken for each other, from the kernel's random source.
/// Throws Error(Unusable) where there is none.
[[nodiscard]] std::string random_letters(std::size_t n);

}  // namespace linebench::live
