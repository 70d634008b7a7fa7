// The live page's server, asked on loopback as any client would: who is let in, what is refused, what it
// costs.
#include <gtest/gtest.h>
#include <httplib.h>
#include <netinet/in.h>
#include <sys/socket.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <chrono>
#include <cstdio>
#include <fstream>
#include <linebench/base/error.hpp>
#include <linebench/live/page_server.hpp>
#include <nlohmann/json.hpp>
#include <string>
#include <thread>
#include <vector>

namespace {

using namespace linebench;
using nlohmann::json;

live::AudioView view(double hum) {
  live::AudioView v;
  v.time_s = 1;
  v.readings = {number_reading("audio.hum.level", hum, 0.1)};
  return v;
}

class LiveServer : public ::testing::Test {
 protected:
  void SetUp() override {
    CaptureFacts f;
    f.source = "counter 2";
    f.kind = "audio file";
    board.begin(f);
    board.publish(view(-40));
  }
  httplib::Client client(const live::PageServer& s) {
    httplib::Client c("127.0.0.1", s.port());
    c.set_read_timeout(10, 0);
    return c;
  }
  static httplib::Headers from_page(const live::PageServer& s) {
    return {{"Origin", "http://127.0.0.1:" + std::to_string(s.port())}};
  }
  live::Board board;
};

int connect_to(int port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM, 0);
  sockaddr_in a{};
  a.sin_family = AF_INET;
  a.sin_port = htons(static_cast<std::uint16_t>(port));
  a.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  EXPECT_EQ(::connect(fd, reinterpret_cast<sockaddr*>(&a), sizeof a), 0);
  timeval t{8, 0};
  ::setsockopt(fd, SOL_SOCKET, SO_RCVTIMEO, &t, sizeof t);
  ::setsockopt(fd, SOL_SOCKET, SO_SNDTIMEO, &t, sizeof t);
  return fd;
}

// Sends text as it stands and gives back all that comes until the other side closes or nothing comes.
std::string raw(int port, const std::string& text) {
  const int fd = connect_to(port);
  std::size_t at = 0;
  while (at < text.size()) {
    const ssize_t n = ::send(fd, text.data() + at, text.size() - at, MSG_NOSIGNAL);
    if (n <= 0) break;
    at += static_cast<std::size_t>(n);
  }
  std::string out;
  char buffer[4096];
  for (ssize_t n = 0; (n = ::recv(fd, buffer, sizeof buffer, 0)) > 0;)
    out.append(buffer, static_cast<std::size_t>(n));
  ::close(fd);
  return out;
}

TEST_F(LiveServer, ServesThePageAndItsReadingsWithAStrictPolicy) {
  const live::PageServer s(board, {});
  auto c = client(s);
  const auto page = c.Get("/");
  ASSERT_TRUE(page);
  EXPECT_EQ(page->status, 200);
  EXPECT_EQ(page->body, live::live_page());
  const std::string policy = page->get_header_value("Content-Security-Policy");
  EXPECT_NE(policy.find("default-src 'none'"), std::string::npos);
  EXPECT_EQ(policy.find("unsafe"), std::string::npos);
  EXPECT_EQ(policy.find('*'), std::string::npos);
  EXPECT_EQ(page->get_header_value("X-Content-Type-Options"), "nosniff");
  EXPECT_EQ(page->get_header_value("Cache-Control"), "no-store");
  const auto readings = c.Get("/readings");
  ASSERT_TRUE(readings);
  const json j = json::parse(readings->body);
  EXPECT_EQ(j["readings"][0]["id"], "audio.hum.level");
  EXPECT_EQ(j["readings"][0]["value"], -40.0);
  const std::string newest = "/readings?after=" + std::to_string(j["number"].get<int>());
  EXPECT_EQ(c.Get(newest.c_str())->status, 204) << "nothing newer";
  board.publish(view(-41));
  EXPECT_EQ(c.Get(newest.c_str())->status, 200);
  EXPECT_EQ(json::parse(c.Get("/traces")->body)["history"]["step_s"], 0.5);
}

// Everything the page needs is in it.
TEST_F(LiveServer, ThePageAsksNobodyElse) {
  const std::string& page = live::live_page();
  for (const char* outside : {"http://", "https://", "//cdn", "@import", "url(", "src=", "import("})
    EXPECT_EQ(page.find(outside), std::string::npos) << outside;
  EXPECT_EQ(page.find("innerHTML"), std::string::npos);
  EXPECT_EQ(page.find("eval("), std::string::npos);
}

TEST_F(LiveServer, HoldAndMarkAreThePagesOwn) {
  const live::PageServer s(board, {});
  auto c = client(s);
  EXPECT_EQ(c.Post("/hold", R"({"on":true})", "application/json")->status, 403) << "no Origin";
  EXPECT_EQ(
      c.Post("/hold", {{"Origin", "http://evil.example"}}, R"({"on":true})", "application/json")->status,
      403);
  EXPECT_EQ(c.Post("/hold", {{"Origin", "null"}}, R"({"on":true})", "application/json")->status, 403);
  EXPECT_EQ(c.Post("/hold", from_page(s), R"({"on":true})", "text/plain")->status, 415)
      << "a form can send that";
  EXPECT_FALSE(board.look().held);
  EXPECT_EQ(c.Post("/hold", from_page(s), R"({"on":true})", "application/json")->status, 200);
  EXPECT_TRUE(board.look().held);
  EXPECT_EQ(c.Post("/hold", from_page(s), R"({"on":1})", "application/json")->status, 400);
  EXPECT_EQ(c.Post("/mark", from_page(s), "[[[[", "application/json")->status, 400);
  const auto mark = c.Post("/mark", from_page(s), R"({"text":"pulled shield"})", "application/json");
  EXPECT_EQ(json::parse(mark->body)["number"], 1);
  EXPECT_EQ(board.look().marks.at(0)->text, "pulled shield");
  EXPECT_EQ(c.Put("/mark", from_page(s), "{}", "application/json")->status, 405);
  EXPECT_EQ(c.Delete("/mark")->status, 405);
}

TEST_F(LiveServer, AnotherHostOrSiteIsRefused) {
  const live::PageServer s(board, {});
  auto c = client(s);
  const std::string port = std::to_string(s.port());
  for (const std::string& host :
       {std::string("evil.example"), "evil.example:" + port, std::string("127.0.0.1"),
        std::string("127.0.0.1:1"), "127.0.0.1.evil.example:" + port, std::string()}) {
    const std::string r =
        raw(s.port(), "GET /readings HTTP/1.1\r\nHost: " + host + "\r\nConnection: close\r\n\r\n");
    EXPECT_EQ(r.substr(9, 3), "403") << host << "\n" << r;
    EXPECT_EQ(r.find("hum"), std::string::npos);
  }
  EXPECT_EQ(raw(s.port(), "GET / HTTP/1.0\r\nConnection: close\r\n\r\n").substr(9, 3), "403")
      << "no Host at all";
  EXPECT_EQ(c.Get("/readings", {{"Host", "localhost:" + port}})->status, 200);
  EXPECT_EQ(c.Get("/readings", {{"Sec-Fetch-Site", "cross-site"}})->status, 403);
  EXPECT_EQ(c.Get("/readings", {{"Sec-Fetch-Site", "same-site"}})->status, 403);
  EXPECT_EQ(c.Get("/readings", {{"Sec-Fetch-Site", "same-origin"}})->status, 200);
  EXPECT_EQ(c.Get("/readings", {{"Origin", "http://evil.example"}})->status, 403);
}

TEST_F(LiveServer, NoPathReachesAFile) {
  const live::PageServer s(board, {});
  const std::string host = "Host: 127.0.0.1:" + std::to_string(s.port()) + "\r\nConnection: close\r\n\r\n";
  for (const char* path :
       {"/../../../../etc/passwd", "/..%2f..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd",
        "/etc/passwd", "/README.md", "/readings/../../etc/passwd", "/.", "/%00"}) {
    const std::string r = raw(s.port(), std::string("GET ") + path + " HTTP/1.1\r\n" + host);
    EXPECT_TRUE(r.substr(9, 3) == "404" || r.substr(9, 3) == "400") << path << "\n" << r;
    EXPECT_EQ(r.find("root:"), std::string::npos) << path;
  }
}

TEST_F(LiveServer, HugeRequestsAreCutOffAndTheServerLives) {
  const live::PageServer s(board, {});
  const std::string head = "GET / HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(s.port()) + "\r\n";
  const auto refused = [](const std::string& r) { return r.empty() || r.substr(9, 1) == "4"; };
  EXPECT_TRUE(refused(raw(s.port(), head + "X: " + std::string(1 << 20, 'a') + "\r\n\r\n")));
  std::string many = head;
  for (int i = 0; i < 20000; ++i) many += "X-" + std::to_string(i) + ": y\r\n";
  EXPECT_TRUE(refused(raw(s.port(), many + "\r\n")));
  EXPECT_TRUE(refused(raw(s.port(), "GET /" + std::string(1 << 20, 'a') + " HTTP/1.1\r\n\r\n")));
  EXPECT_TRUE(
      refused(raw(s.port(), "POST /mark HTTP/1.1\r\nHost: 127.0.0.1:" + std::to_string(s.port()) +
                                "\r\nOrigin: http://127.0.0.1:" + std::to_string(s.port()) +
                                "\r\nContent-Type: application/json\r\nContent-Length: 1000000\r\n\r\n" +
                                std::string(1000000, 'a'))));
  EXPECT_TRUE(refused(raw(s.port(), std::string(5000, '\0') + "\r\n\r\n")));
  EXPECT_TRUE(refused(raw(s.port(), "POST /mark HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n")));
  EXPECT_EQ(client(s).Get("/")->status, 200);
}

TEST_F(LiveServer, SlowAndManyConnectionsDoNotLockOthersOutForLong) {
  const live::PageServer s(board, {});
  std::vector<int> idle;
  for (int i = 0; i < 60; ++i) {
    idle.push_back(connect_to(s.port()));
    // The library's queue of new connections holds five; one that finds it full tries again a second later,
    // and the first of the slow ones would be given up before the last is in.
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  for (const int fd : idle) (void)::send(fd, "GET / HT", 8, MSG_NOSIGNAL);  // and never the rest
  std::this_thread::sleep_for(std::chrono::milliseconds(200));
  // From this address six are open; the others were turned away at once.
  const auto busy = client(s).Get("/");
  EXPECT_TRUE(!busy || busy->status == 503);
  const auto since = std::chrono::steady_clock::now();
  int status = 0;
  while (status != 200 && std::chrono::steady_clock::now() - since < std::chrono::seconds(60)) {
    const auto r = client(s).Get("/");
    status = r ? r->status : 0;
    std::this_thread::sleep_for(std::chrono::milliseconds(100));
  }
  EXPECT_EQ(status, 200) << "the slow ones were given up after five seconds";
  for (const int fd : idle) ::close(fd);
}

TEST_F(LiveServer, TooManyRequestsASecondAreRefused) {
  const live::PageServer s(board, {});
  auto c = client(s);
  c.set_keep_alive(true);
  int refused = 0, served = 0;
  for (int i = 0; i < 300; ++i) {
    const auto r = c.Get("/readings");
    if (r && r->status == 429) ++refused;
    if (r && r->status == 200) ++served;
  }
  EXPECT_GT(refused, 0);
  EXPECT_GE(served, 80) << "a reserve for bursts";
}

TEST_F(LiveServer, OnTheNetworkNothingWithoutTheCode) {
  std::vector<std::string> codes;
  const live::PageServer s(board,
                           {.lan = true, .on_code = [&](const std::string& c) { codes.push_back(c); }});
  ASSERT_EQ(codes.size(), 1U);
  EXPECT_EQ(s.code(), codes[0]);
  EXPECT_EQ(codes[0].size(), 9U) << "eight letters and a dash";
  auto c = client(s);
  for (const char* path : {"/readings", "/traces", "/nothing"}) {
    const auto r = c.Get(path);
    EXPECT_EQ(r->status, 401) << path;
    EXPECT_EQ(r->body.find("hum"), std::string::npos);
  }
  const auto front = c.Get("/");
  EXPECT_EQ(front->status, 401);
  EXPECT_EQ(front->body.find("Readings"), std::string::npos) << "only the form";
  EXPECT_EQ(c.Post("/mark", from_page(s), R"({"text":"x"})", "application/json")->status, 401);
  EXPECT_EQ(board.look().marks.size(), 0U);
  EXPECT_EQ(c.Get("/readings", {{"Cookie", "watch=guess"}})->status, 401);
  EXPECT_EQ(c.Get("/readings", {{"Cookie", "watch="}})->status, 401);

  // Wrong ones are not answered faster than once a second, and right ones neither while that lasts.
  EXPECT_EQ(c.Post("/code", from_page(s), R"({"code":"AAAA-AAAA"})", "application/json")->status, 401);
  EXPECT_EQ(c.Post("/code", from_page(s), R"({"code":"AAAA-AAAB"})", "application/json")->status, 429);
  std::this_thread::sleep_for(std::chrono::milliseconds(1100));

  const auto open = c.Post("/code", from_page(s), json({{"code", codes[0]}}).dump(), "application/json");
  ASSERT_EQ(open->status, 200);
  const std::string cookie = open->get_header_value("Set-Cookie");
  EXPECT_NE(cookie.find("HttpOnly"), std::string::npos);
  EXPECT_NE(cookie.find("SameSite=Strict"), std::string::npos);
  const httplib::Headers with{{"Cookie", cookie.substr(0, cookie.find(';'))}};
  EXPECT_EQ(c.Get("/readings", with)->status, 200);
  ASSERT_EQ(codes.size(), 2U) << "the code is spent, there is a new one";
  EXPECT_NE(codes[0], codes[1]);
  EXPECT_EQ(c.Get(("/?code=" + codes[0]).c_str())->status, 401) << "one time only";
  std::this_thread::sleep_for(std::chrono::milliseconds(1100));
  std::string typed = codes[1];
  for (char& letter : typed) letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  const auto link = c.Get(("/?code=" + typed).c_str());
  EXPECT_EQ(link->status, 200);
  EXPECT_NE(link->get_header_value("Set-Cookie"), "");
  EXPECT_EQ(link->body, live::live_page());
}

TEST_F(LiveServer, WithoutLanItListensOnLoopbackOnly) {
  const live::PageServer s(board, {});
  EXPECT_EQ(s.addresses(), std::vector<std::string>{"http://127.0.0.1:" + std::to_string(s.port()) + "/"});
  EXPECT_EQ(s.code(), "");
  // The kernel's list of listening sockets: this port once, at 127.0.0.1 (0100007F).
  std::ifstream in("/proc/net/tcp");
  std::string line, where;
  char wanted[32];
  std::snprintf(wanted, sizeof wanted, ":%04X 00000000:0000 0A", static_cast<unsigned>(s.port()));
  while (std::getline(in, line)) {
    if (const auto at = line.find(wanted); at != std::string::npos) where += line.substr(at - 8, 8);
  }
  EXPECT_EQ(where, "0100007F");
}

TEST_F(LiveServer, APortThatIsTakenIsSaid) {
  const live::PageServer first(board, {});
  try {
    const live::PageServer second(board, {.port = first.port()});
    FAIL() << "two programs on one port";
  } catch (const Error& e) {
    EXPECT_EQ(e.exit(), Exit::Unusable);
    EXPECT_NE(std::string(e.what()).find(std::to_string(first.port())), std::string::npos);
  }
}

}  // namespace
