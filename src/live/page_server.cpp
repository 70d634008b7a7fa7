#include <arpa/inet.h>
#include <fmt/format.h>
#include <ifaddrs.h>
#include <net/if.h>
#include <netinet/in.h>

#include <linebench/base/error.hpp>
#include <linebench/base/json_text.hpp>
#include <linebench/live/page_server.hpp>
#include <nlohmann/json.hpp>
#include <thread>

#include "guard.hpp"
#include "limited_server.hpp"
#include "page_parts.hpp"

namespace linebench::live {
namespace {

using httplib::Request;
using httplib::Response;
using nlohmann::json;

constexpr double requests_a_second = 40;
constexpr double requests_reserve = 80;
constexpr const char* session_cookie = "watch";
using Handled = httplib::Server::HandlerResponse;

std::string cookie_of(const Request& req) {
  // "a=1; watch=TOKEN; b=2"
  const std::string all = "; " + req.get_header_value("Cookie");
  const std::string key = std::string("; ") + session_cookie + "=";
  const std::size_t at = all.find(key);
  if (at == std::string::npos) return {};
  const std::size_t from = at + key.size();
  return all.substr(from, all.find(';', from) - from);
}

void refuse(Response& res, int status, const std::string& words) {
  res.status = status;
  res.set_content(words + "\n", "text/plain; charset=utf-8");
}

std::vector<std::string> own_addresses() {
  std::vector<std::string> out;
  ifaddrs* list = nullptr;
  if (::getifaddrs(&list) != 0) return out;
  for (const ifaddrs* i = list; i != nullptr; i = i->ifa_next) {
    if (i->ifa_addr == nullptr || i->ifa_addr->sa_family != AF_INET || (i->ifa_flags & IFF_UP) == 0) continue;
    std::array<char, INET_ADDRSTRLEN> text{};
    const auto* in = reinterpret_cast<const sockaddr_in*>(i->ifa_addr);
    ::inet_ntop(AF_INET, &in->sin_addr, text.data(), text.size());
    out.emplace_back(text.data());
  }
  ::freeifaddrs(list);
  return out;
}

}  // namespace

struct PageServer::Impl {
  Impl(Board& b, PageOptions o) : board(b), options(std::move(o)), rate(requests_a_second, requests_reserve) {
    if (options.lan) sessions = std::make_unique<Sessions>(options.on_code);
    server.set_default_headers({{"Content-Security-Policy", content_policy()},
                                {"X-Content-Type-Options", "nosniff"},
                                {"X-Frame-Options", "DENY"},
                                {"Referrer-Policy", "no-referrer"},
                                {"Cross-Origin-Opener-Policy", "same-origin"},
                                {"Cross-Origin-Resource-Policy", "same-origin"},
                                {"Permissions-Policy", "camera=(), microphone=(), geolocation=()"},
                                {"Cache-Control", "no-store"}});
    server.set_pre_routing_handler([this](const Request& req, Response& res) { return guard(req, res); });
    server.set_error_handler([](const Request&, Response& res) {
      if (res.body.empty()) res.set_content(fmt::format("{}\n", res.status), "text/plain; charset=utf-8");
    });
    server.set_exception_handler([](const Request&, Response& res, const std::exception_ptr&) {
      refuse(res, 500, "it did not work");  // why is nobody's business but the terminal's
    });
    routes();
    const char* host = options.lan ? "0.0.0.0" : "127.0.0.1";
    port = options.port > 0 ? (server.bind_to_port(host, options.port) ? options.port : -1)
                            : server.bind_to_any_port(host);
    if (port <= 0) {
      throw unusable(
          fmt::format("--port {}: cannot be used (taken by another program, or not allowed); give "
                      "another, or none for a free one",
                      options.port));
    }
    thread = std::thread([this] { server.listen_after_bind(); });
    while (!server.is_running()) std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  ~Impl() {
    server.stop();
    thread.join();
  }
  Impl(const Impl&) = delete;
  Impl& operator=(const Impl&) = delete;

  Handled guard(const Request& req, Response& res) {
    if (!rate.pass(req.remote_addr)) {
      refuse(res, 429, "too many requests");
      return Handled::Handled;
    }
    const Refusal r = refusal_of({.method = req.method,
                                  .path = req.path,
                                  .remote_address = req.remote_addr,
                                  .local_address = req.local_addr,
                                  .host = req.get_header_value("Host"),
                                  .origin = req.get_header_value("Origin"),
                                  .fetch_site = req.get_header_value("Sec-Fetch-Site"),
                                  .content_type = req.get_header_value("Content-Type")},
                                 port);
    if (r.status != 0) {
      refuse(res, r.status, r.words);
      return Handled::Handled;
    }
    if (!sessions || sessions->knows(cookie_of(req)) || req.path == "/code") return Handled::Unhandled;
    if (req.path == "/" && req.has_param("code") && req.method == "GET") {
      if (open_session(req.get_param_value("code"), res)) return Handled::Unhandled;
      if (res.status == 429) return Handled::Handled;
    }
    // Nothing but the form that asks for the code.
    res.status = 401;
    if (req.path == "/")
      res.set_content(code_page(), "text/html; charset=utf-8");
    else
      refuse(res, 401, "the code first");
    return Handled::Handled;
  }

  bool open_session(const std::string& code, Response& res) {
    std::string token;
    switch (sessions->try_code(code, token)) {
      case Sessions::Answer::Opened:
        res.set_header("Set-Cookie",
                       fmt::format("{}={}; Path=/; HttpOnly; SameSite=Strict", session_cookie, token));
        return true;
      case Sessions::Answer::Wait:
        refuse(res, 429, "wait a second");
        return false;
      case Sessions::Answer::Wrong:
        break;
    }
    refuse(res, 401, "wrong code");
    return false;
  }

  void routes() {
    server.Get(
        "/", [](const Request&, Response& res) { res.set_content(live_page(), "text/html; charset=utf-8"); });
    server.Get("/readings", [this](const Request& req, Response& res) {
      const Snapshot shown = board.look();
      if (req.get_param_value("after") == std::to_string(shown.number)) {
        res.status = 204;  // nothing is newer than what was asked for
        return;
      }
      json j = snapshot_to_json(shown);
      // The other device's loudspeaker is not in the path; this machine's output may be.
      j["page_sound"] = options.sound_here || req.remote_addr != req.local_addr;
      send(res, j);
    });
    server.Get("/traces", [this](const Request&, Response& res) {
      send(res, traces_to_json(board.look(), board.history()));
    });
    server.Post("/hold", [this](const Request& req, Response& res) {
      const json j = json::parse(req.body, nullptr, false);
      if (!j.is_object() || !j.contains("on") || !j["on"].is_boolean())
        return refuse(res, 400, "on: true or false");
      board.hold(j["on"]);
      send(res, {{"held", j["on"]}});
    });
    server.Post("/mark", [this](const Request& req, Response& res) {
      const json j = json::parse(req.body, nullptr, false);
      if (!j.is_object() || !j.contains("text") || !j["text"].is_string())
        return refuse(res, 400, "text: words");
      try {
        const Mark m = board.mark(j["text"]);
        send(res, {{"number", m.number}, {"text", m.text}, {"stored", m.stored}});
      } catch (const Error& e) {
        refuse(res, 409, e.what());
      }
    });
    if (!sessions) return;
    server.Post("/code", [this](const Request& req, Response& res) {
      const json j = json::parse(req.body, nullptr, false);
      if (!j.is_object() || !j.contains("code") || !j["code"].is_string())
        return refuse(res, 400, "code: letters");
      if (open_session(j["code"], res)) send(res, {{"open", true}});
    });
  }

  static void send(Response& res, const json& j) { res.set_content(json_text(j), "application/json"); }

  Board& board;
  PageOptions options;
  RateLimit rate;
  std::unique_ptr<Sessions> sessions;
  LimitedServer server;
  int port = 0;
  std::thread thread;
};

PageServer::PageServer(Board& board, PageOptions options)
    : impl_(std::make_unique<Impl>(board, std::move(options))) {}
PageServer::~PageServer() = default;

int PageServer::port() const { return impl_->port; }
std::string PageServer::code() const { return impl_->sessions ? impl_->sessions->code() : ""; }
std::vector<std::string> PageServer::addresses() const {
  std::vector<std::string> out;
  const std::vector<std::string> own =
      impl_->options.lan ? own_addresses() : std::vector<std::string>{"127.0.0.1"};
  out.reserve(own.size());
  for (const std::string& a : own) out.push_back(fmt::format("http://{}:{}/", a, impl_->port));
  return out;
}

}  // namespace linebench::live
