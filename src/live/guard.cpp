#include "guard.hpp"

#include <fmt/format.h>
#include <sys/random.h>

#include <algorithm>
#include <cctype>
#include <linebench/base/error.hpp>
#include <vector>

namespace linebench::live {
namespace {

constexpr std::size_t code_letters = 8;
constexpr std::size_t token_letters = 32;
constexpr int most_wrong = 10;
constexpr std::size_t most_sessions = 32;
constexpr std::size_t most_buckets = 1024;
constexpr std::chrono::seconds between_wrong{1};

// Letters as typed on a phone: either case, with or without the dash.
std::string as_code(const std::string& text) {
  std::string out;
  for (const char c : text) {
    if (std::isalnum(static_cast<unsigned char>(c)) != 0)
      out += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  }
  return out;
}

// Takes as long for a near miss as for a wild guess.
bool same(const std::string& a, const std::string& b) {
  if (a.size() != b.size()) return false;
  unsigned difference = 0;
  for (std::size_t i = 0; i < a.size(); ++i)
    difference |= static_cast<unsigned>(static_cast<unsigned char>(a[i]) ^ static_cast<unsigned char>(b[i]));
  return difference == 0;
}

}  // namespace

std::string random_letters(std::size_t n) {
  static constexpr std::string_view letters = "23456789ABCDEFGHJKMNPQRSTUVWXYZ";  // 31
  std::string out;
  while (out.size() < n) {
    unsigned char byte = 0;
    if (::getrandom(&byte, 1, 0) != 1)
      throw unusable("no random numbers from the kernel: --lan cannot be used");
    // Values beyond a whole multiple would favour the first letters.
    if (byte < 256 / letters.size() * letters.size()) out += letters[byte % letters.size()];
  }
  return out;
}

Refusal refusal_of(const Asking& a, int port) {
  if (a.method != "GET" && a.method != "HEAD" && a.method != "POST") return {405, "method not allowed"};
  // A name that leads here from elsewhere (DNS rebinding) is not this address.
  const std::string own = fmt::format("{}:{}", a.local_address, port);
  const std::string local = fmt::format("localhost:{}", port);
  const bool loopback = a.local_address == "127.0.0.1" || a.local_address == "::1";
  if (a.host != own && !(loopback && a.host == local)) return {403, "wrong host"};
  const bool post = a.method == "POST";
  if ((post || !a.origin.empty()) && a.origin != "http://" + a.host) return {403, "wrong origin"};
  if (!a.fetch_site.empty() && a.fetch_site != "same-origin" && a.fetch_site != "none") {
    // Following a link to the page itself is all that another site may do, and that sends no Origin.
    if (post || a.path != "/") return {403, "another site asks"};
  }
  if (post && !a.content_type.starts_with("application/json")) return {415, "JSON only"};
  return {};
}

bool RateLimit::pass(const std::string& address, Clock::time_point now) {
  const std::scoped_lock guard(lock_);
  const auto refill = [&](Bucket& b) {
    b.left = std::min(reserve_, b.left + a_second_ * std::chrono::duration<double>(now - b.at).count());
    b.at = now;
  };
  if (buckets_.size() >= most_buckets && !buckets_.contains(address)) {
    for (auto& [name, b] : buckets_) refill(b);
    std::erase_if(buckets_, [&](const auto& one) { return one.second.left >= reserve_; });
    if (buckets_.size() >= most_buckets) return false;
  }
  Bucket& b = buckets_.try_emplace(address, Bucket{reserve_, now}).first->second;
  refill(b);
  if (b.left < 1) return false;
  b.left -= 1;
  return true;
}

Sessions::Sessions(std::function<void(const std::string&)> on_code) : on_code_(std::move(on_code)) {
  renew();
}

void Sessions::renew() {
  const std::string letters = random_letters(code_letters);
  code_ = letters.substr(0, code_letters / 2) + "-" + letters.substr(code_letters / 2);
  wrong_ = 0;
  if (on_code_) on_code_(code_);
}

std::string Sessions::code() const {
  const std::scoped_lock guard(lock_);
  return code_;
}

Sessions::Answer Sessions::try_code(const std::string& text, std::string& token, Clock::time_point now) {
  const std::scoped_lock guard(lock_);
  if (last_wrong_ != Clock::time_point::min() && now - last_wrong_ < between_wrong) return Answer::Wait;
  if (!same(as_code(text), as_code(code_)) || tokens_.size() >= most_sessions) {
    last_wrong_ = now;
    if (++wrong_ >= most_wrong) renew();
    return Answer::Wrong;
  }
  token = random_letters(token_letters);
  tokens_.insert(token);
  renew();
  return Answer::Opened;
}

bool Sessions::knows(const std::string& token) const {
  const std::scoped_lock guard(lock_);
  return std::ranges::any_of(tokens_, [&](const std::string& t) { return same(t, token); });
}

}  // namespace linebench::live
