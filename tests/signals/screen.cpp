// Test pictures on a screen: a virtual X server takes them, and its own memory is looked at; a key by its
// XTEST extension ends the show. Without a screen the way by a file is named.
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <where.hpp>

#include "app/run_program.hpp"
#include "support/python.hpp"

namespace {

// Starts Xvfb, runs the program on it, takes the screen (XWD format, from its public header XWDFile.h), then
// presses a key (X11 protocol: QueryExtension 98, XTEST FakeInput minor 2) and waits for the end.
constexpr const char* on_screen = R"(
import json, os, socket, struct, subprocess, sys, time
import numpy as np
program, folder, arguments, press = sys.argv[1], sys.argv[2], sys.argv[3].split(), sys.argv[4] == 'key'
r, w = os.pipe()
server = subprocess.Popen(['/usr/bin/Xvfb', '-displayfd', str(w), '-screen', '0', '800x600x24', '-fbdir', folder,
                           '-ac', '-nolisten', 'tcp'], pass_fds=[w], stderr=subprocess.DEVNULL)
os.close(w)
display = os.fdopen(r).readline().strip()
try:
    show = subprocess.Popen([program] + arguments, env=dict(os.environ, DISPLAY=':' + display),
                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    def screen():
        raw = open(folder + '/Xvfb_screen0', 'rb').read()
        h = struct.unpack('>25I', raw[:100])
        start = h[0] + 12 * h[19]
        a = np.frombuffer(raw[start:start + h[12] * h[5]], np.uint8).reshape(h[5], h[12])
        return a[:, :4 * h[4]].reshape(h[5], h[4], 4)[:, :, 2::-1].astype(int)
    seen, before = None, None
    for i in range(200):
        time.sleep(0.1)
        now = screen()
        if before is not None and now.std() > 20 and (now == before).all():
            seen = now
            break
        before = now
        if show.poll() is not None: break
    if press:
        s = socket.socket(socket.AF_UNIX)
        s.connect('/tmp/.X11-unix/X' + display)
        s.sendall(struct.pack('<BxHHHHxx', ord('l'), 11, 0, 0, 0))
        head = s.recv(8)
        rest = struct.unpack('<H', head[6:8])[0] * 4
        while rest > 0: rest -= len(s.recv(rest))
        s.sendall(struct.pack('<BxHHxx', 98, 4, 5) + b'XTEST\0\0\0')
        answer = s.recv(32)
        for kind in (2, 3):  # press and release of the space bar
            s.sendall(struct.pack('<BBHBBxxII8xhh7xB', answer[9], 2, 9, kind, 65, 0, 0, 0, 0, 0))
        time.sleep(0.2)
    try:
        out, err = show.communicate(timeout=20)
    except subprocess.TimeoutExpired:
        show.kill()
        out, err = show.communicate()
    answer = {'status': show.returncode, 'out': out, 'err': err, 'seen': None}
    if seen is not None:
        answer['seen'] = [[seen[300, int(800 * (0.03 + 0.94 * (b + 0.5) / 8))].tolist() for b in range(8)],
                          [seen[2, 2].tolist(), seen[597, 797].tolist()]]
    print(json.dumps(answer))
finally:
    server.terminate()
    server.wait()
)";

nlohmann::json shown(const std::string& arguments, const char* end) {
  const testing_support::TempDir dir;
  const auto r = testing_support::run_program(
      {"/usr/bin/python3", "-c", on_screen, LINEBENCH_PROGRAM, dir.path().string(), arguments, end});
  EXPECT_EQ(r.status, 0) << r.err;
  return nlohmann::json::parse(r.out);
}

// R, G, B of bars of 75 % in full range of 8 bits: 0.75 x 255 = 191.
TEST(SignalsOnScreen, BarsFillItWithinTheBorderAndAKeyEnds) {
  const auto r = shown("signals show video-bars-75 --screen", "key");
  ASSERT_FALSE(r["seen"].is_null()) << r["err"];
  constexpr int rgb[8][3] = {{1, 1, 1}, {1, 1, 0}, {0, 1, 1}, {0, 1, 0},
                             {1, 0, 1}, {1, 0, 0}, {0, 0, 1}, {0, 0, 0}};
  for (int b = 0; b < 8; ++b)
    for (int c = 0; c < 3; ++c) EXPECT_NEAR(r["seen"][0][b][c].get<int>(), 191 * rgb[b][c], 3) << b << c;
  for (int c = 0; c < 3; ++c) {  // what may be cut off goes on as the edges do
    EXPECT_NEAR(r["seen"][1][0][c].get<int>(), 191, 3);
    EXPECT_NEAR(r["seen"][1][1][c].get<int>(), 0, 3);
  }
  EXPECT_EQ(r["status"], 0) << r["err"];
  EXPECT_NE(r["err"].get<std::string>().find("any key ends"), std::string::npos);
}

TEST(SignalsOnScreen, ForAWhile) {
  const auto r = shown("signals show video-bars-100 --system 525 --screen --seconds 2 --json", "wait");
  EXPECT_EQ(r["status"], 0) << r["err"];
  EXPECT_EQ(nlohmann::json::parse(r["out"].get<std::string>())["shown"]["frames"], 60);
}

TEST(SignalsOnScreen, WithoutAScreenTheFileWayIsNamed) {
  for (const char* display : {"DISPLAY=", "DISPLAY=:987"}) {
    const auto r = testing_support::run_program({"/usr/bin/env", "-u", "WAYLAND_DISPLAY", "-u",
                                                 "QT_QPA_PLATFORM", display, LINEBENCH_PROGRAM, "signals",
                                                 "show", "video-bars-75", "--screen"});
    EXPECT_EQ(r.status, 3) << r.err;
    EXPECT_NE(r.err.find("signals write NAME --out"), std::string::npos) << r.err;
    EXPECT_EQ(std::count(r.err.begin(), r.err.end(), '\n'), 1) << r.err;
  }
  const auto audio =
      testing_support::run_program({LINEBENCH_PROGRAM, "signals", "show", "tone-1k", "--screen"});
  EXPECT_EQ(audio.status, 2);
}

}  // namespace
