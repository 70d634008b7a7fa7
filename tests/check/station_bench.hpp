// A station on the bench: what was sent comes from the program, what the station did to it is made by sox.
#pragma once

#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "app/run_program.hpp"
#include "sound_files.hpp"

namespace check_test {

// A plan short enough to be run many times.
inline constexpr const char* short_plan = R"(title = "Short"
types = ["post"]
[[test]]
key = "listen"
title = "Listen path"
signal = "sweep-speech"
limits = "speech-path"
[[test]]
key = "level"
title = "Level"
signal = "tone-1k"
limits = "speech-path"
)";

struct Bench {
  app_test::Folder folder;
  Bench() {
    std::filesystem::create_directories(folder.path / "home/plans");
    std::ofstream(folder.path / "home/plans/short.toml") << short_plan;
    for (const char* signal : {"sweep-speech", "tone-1k"}) {
      const auto r =
          app_test::run(folder, std::string("signals write ") + signal + " --out " + signal + ".wav");
      EXPECT_EQ(r.exit, 0) << r.err;
    }
  }
  // A return: the sent file through sox effects.
  void returned(const std::string& signal, const std::string& key, const std::string& effects) const {
    check_test::sox("'" + (folder.path / (signal + ".wav")).string() + "' -b 24 '" +
                    (folder.path / (key + ".wav")).string() + "' remix 1 " + effects);
  }
  nlohmann::json check(int expected_exit, const std::string& answers) const {
    std::ofstream(folder.path / "answers.toml") << answers;
    const auto r = app_test::run(folder, "check station --from-files . --json");
    EXPECT_EQ(r.exit, expected_exit) << r.err;
    return r.out.empty() ? nlohmann::json::object() : nlohmann::json::parse(r.out);
  }
};

inline std::string answers(const std::string& serial, const std::string& more) {
  return "\"station.type\" = \"Post\"\n\"station.serial\" = \"" + serial +
         "\"\n\"checklist.before\" = \"all\"\n\"checklist.after\" = \"all\"\n" + more;
}

}  // namespace check_test
