// The program's diagnose and compare, on the demo's captures and documents made by hand.
#include <gtest/gtest.h>

#include <fstream>
#include <linebench/base/version.hpp>
#include <nlohmann/json.hpp>

#include "app/run_program.hpp"

namespace {

using app_test::Folder;
using app_test::run;
using nlohmann::json;

std::string capture(const char* name) { return (linebench::share_dir() / "captures" / name).string(); }

TEST(DiagnoseCommand, NamesTheHumFaultOfTheDemoWithItsCaution) {
  const Folder f;
  const auto r = run(f, "diagnose --json '" + capture("counter-2.flac") + "'");
  ASSERT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("schema"), "linebench/1");
  EXPECT_EQ(j.at("command"), "diagnose");
  ASSERT_FALSE(j.at("findings").empty());
  const json& first = j.at("findings").at(0);
  EXPECT_EQ(first.at("fault"), "earth-loop-audio");
  EXPECT_NE(first.at("caution").get<std::string>().find("protective earth"), std::string::npos);
  EXPECT_FALSE(first.at("evidence").empty());
  EXPECT_TRUE(first.at("next_test").contains("how"));
  double last = 1;
  for (const json& x : j.at("findings")) {
    EXPECT_LE(x.at("probability").get<double>(), last);
    last = x.at("probability").get<double>();
  }
}

TEST(DiagnoseCommand, CallsASoundPathSoundAndSaysTheSameTwice) {
  const Folder f;
  const std::string args = "diagnose --json '" + capture("counter-1.flac") + "'";
  const auto r = run(f, args);
  EXPECT_EQ(r.exit, 0) << r.err << r.out;
  EXPECT_EQ(json::parse(r.out).at("verdict"), "pass");
  EXPECT_EQ(run(f, args).out, r.out);
}

TEST(DiagnoseCommand, TakesDocumentsOfMeasureLikeTheCaptureItself) {
  const Folder f;
  const auto m = run(f, "measure --json '" + capture("counter-2.flac") + "'");
  std::ofstream(f.path / "m.json") << m.out;
  const json a = json::parse(run(f, "diagnose --json '" + capture("counter-2.flac") + "'").out);
  const json b = json::parse(run(f, "diagnose --json m.json").out);
  EXPECT_EQ(a.at("findings").at(0).at("fault"), b.at("findings").at(0).at("fault"));
  EXPECT_NEAR(a.at("findings").at(0).at("probability").get<double>(),
              b.at("findings").at(0).at("probability").get<double>(), 1e-6);
}

// The document beside its own capture is no second path.
TEST(DiagnoseCommand, ADocumentAndItsCaptureCountOnce) {
  const Folder f;
  const std::string file = "'" + capture("counter-2.flac") + "'";
  std::ofstream(f.path / "m.json") << run(f, "measure --json " + file).out;
  const json one = json::parse(run(f, "diagnose --json " + file).out);
  const json both = json::parse(run(f, "diagnose --json m.json " + file).out);
  EXPECT_EQ(one.at("findings").at(0).at("fault"), both.at("findings").at(0).at("fault"));
  EXPECT_NEAR(one.at("findings").at(0).at("probability").get<double>(),
              both.at("findings").at(0).at("probability").get<double>(), 1e-6);
  EXPECT_NE(both.dump().find("one and the same capture"), std::string::npos);
}

TEST(DiagnoseCommand, ObservationsMoveTheBlame) {
  const Folder f;
  const std::string hum = "diagnose --json '" + capture("counter-2.flac") + "' ";
  const auto probability = [&](const std::string& observed, const char* fault) {
    const auto r = run(f, hum + observed);
    const json j = json::parse(r.out);
    for (const json& x : j.at("findings")) {
      if (x.at("fault") == fault) return x.at("probability").get<double>();
    }
    return 0.0;
  };
  EXPECT_GT(probability("--observed 'isolate-audio=gone'", "earth-loop-audio"), 0.7);
  EXPECT_LT(probability("--observed 'isolate-audio=same'", "earth-loop-audio"), 0.2);
  EXPECT_GT(probability("--observed 'earth-ohms=3 kohm'", "earth-missing"), 0.6);
}

TEST(DiagnoseCommand, ASaggingRailIsFoundByTheMeterAlone) {
  const Folder f;
  const auto r = run(
      f,
      "diagnose --json --observed 'supply-open=12.2 V of 12' --observed 'supply-loaded=9.0 V of 12 +- 0.1'");
  ASSERT_EQ(r.exit, 1) << r.err;
  EXPECT_EQ(json::parse(r.out).at("findings").at(0).at("fault"), "supply-sagging");
  EXPECT_EQ(
      run(f, "diagnose --json --observed 'supply-open=12.1 V of 12' --observed 'supply-loaded=12.0 V of 12'")
          .exit,
      1);
}

TEST(DiagnoseCommand, SaysWhatIsWrongWithWhatWasTyped) {
  const Folder f;
  for (const char* args : {"diagnose --observed 'gulls=many'", "diagnose --observed 'supply-loaded=11 V'",
                           "diagnose --observed 'port-light=green'", "diagnose --observed 'earth-ohms=3 V'",
                           "diagnose", "diagnose --explain gull"}) {
    const auto r = run(f, args);
    EXPECT_EQ(r.exit, 2) << args << r.err;
    EXPECT_EQ(r.err.find('\n'), r.err.size() - 1) << r.err;
  }
  EXPECT_EQ(run(f, "diagnose nowhere.wav").exit, 3);
  std::ofstream(f.path / "odd.json") << "{\"a\": 1}";
  EXPECT_EQ(run(f, "diagnose odd.json").exit, 3);
}

TEST(DiagnoseCommand, UsersFaultTakesPartAndABrokenOneIsNamed) {
  const Folder f;
  std::filesystem::create_directories(f.path / "home/faults");
  std::ofstream(f.path / "home/faults/slip.toml") << "label = 3\n";
  std::ofstream(f.path / "home/faults/gulls.toml") << R"(label = "Gulls on the aerial"
what = "w"
group = "pick-up"
prior = 0.2
views = ["audio"]
test = "move-cable"
tell_apart = "t"
remedy = "r"
source = "own"
[effects]
"audio.click" = {from = 1, to = 50, spread = 3}
"move-cable" = {less = 0.9}
)";
  const auto r = run(f, "diagnose --json --observed 'move-cable=less'");
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("findings").at(0).at("fault"), "gulls");
  EXPECT_NE(j.at("notes").at(0).get<std::string>().find("slip.toml"), std::string::npos);
}

TEST(DiagnoseCommand, ExplainShowsTheChainAndTheBookIsListed) {
  const Folder f;
  const auto r = run(f, "diagnose '" + capture("counter-2.flac") + "' --explain earth-loop-audio");
  EXPECT_EQ(r.exit, 0) << r.err;
  for (const char* word : {"Before any evidence", "All together", "CAUTION", "Beside it"})
    EXPECT_NE(r.out.find(word), std::string::npos) << word << "\n" << r.out;
  const auto book = run(f, "diagnose --book");
  EXPECT_NE(book.out.find("supply-ripple"), std::string::npos);
  EXPECT_NE(book.out.find("earth-ohms=VALUE ohm"), std::string::npos);
}

TEST(DiagnoseCommand, PageHoldsTheDiagnosisAndKeepsForeignTextOut) {
  const Folder f;
  const auto r =
      run(f, "diagnose '" + capture("counter-2.flac") + "' --observed 'connector=bent' --html page.html");
  EXPECT_EQ(r.exit, 1) << r.err;
  const std::string page = app_test::slurp(f.path / "page.html");
  EXPECT_NE(page.find("id=\"diagnosis\""), std::string::npos);
  EXPECT_NE(page.find("Caution"), std::string::npos);
  EXPECT_EQ(page.find("<script"), std::string::npos);
}

TEST(CompareCommand, SaysWhatChangedAndThatTheSameIsTheSame) {
  const Folder f;
  const auto r = run(f, "compare --json '" + capture("counter-1.flac") + "' '" + capture("lane-5.flac") +
                            "' --did 'opened one leg'");
  ASSERT_EQ(r.exit, 0) << r.err;
  const json c = json::parse(r.out).at("comparison");
  bool level = false;
  for (const json& x : c.at("changes")) {
    if (x.at("id") == "audio.tone.level") level = x.at("change") == "less" && x.at("certainty") == "certain";
  }
  EXPECT_TRUE(level) << r.out;
  EXPECT_NE(c.at("summary").get<std::string>().find("opened one leg"), std::string::npos);
  const json same = json::parse(run(f, "compare --json '" + capture("counter-1.flac") + "' '" +
                                           capture("counter-1.flac") + "'")
                                    .out)
                        .at("comparison");
  for (const json& x : same.at("changes")) EXPECT_EQ(x.at("change"), "same") << x;
}

TEST(DiagnoseCommand, ASeriesAlongThePathNamesTheSegment) {
  const Folder f;
  for (const char* n : {"counter-1", "counter-2"})
    std::filesystem::copy(capture((std::string(n) + ".flac").c_str()), f.path);
  std::ofstream(f.path / "path.toml") << R"(title = "Counter 2"
[[part]]
name = "station"
capture = "counter-1.flac"
[[part]]
name = "cable to the hub"
[[part]]
name = "hub"
capture = "counter-2.flac"
)";
  const auto r = run(f, "diagnose --json --path path.toml");
  ASSERT_EQ(r.exit, 1) << r.err;
  const std::string note = json::parse(r.out).at("notes").at(0);
  EXPECT_NE(note.find("cable to the hub, hub"), std::string::npos) << note;
  EXPECT_NE(note.find("Measure at the end of cable to the hub"), std::string::npos) << note;
}

TEST(DiagnoseCommand, BadDocumentsGetOneClearLine) {
  const Folder f;
  const std::pair<const char*, const char*> cases[] = {
      {"", "document of readings"},
      {"{", "document of readings"},
      {"[1, 2]", "document of readings"},
      {R"({"schema": "other/2", "readings": []})", "schema"},
      {R"({"schema": "linebench/1"})", "readings"},
      {R"({"schema": "linebench/1", "readings": [{"label": 1}]})", "without an id"},
      {R"({"schema": "linebench/1", "readings": [{"id": "audio.thd", "value": {"x": [1], "y": [1, 2]}}]})",
       "audio.thd"},
      {R"({"schema": "linebench/1", "captures": []})", "nothing in it bears on a fault"},
      {R"({"schema": "linebench/1", "readings": [{"id": "my.own", "value": 3}]})",
       "nothing in it bears on a fault"}};
  for (const auto& [text, words] : cases) {
    std::ofstream(f.path / "doc.json") << text;
    const auto r = run(f, "diagnose doc.json");
    EXPECT_EQ(r.exit, 3) << text;
    EXPECT_NE(r.err.find("doc.json"), std::string::npos) << r.err;
    EXPECT_NE(r.err.find(words), std::string::npos) << r.err;
    EXPECT_EQ(r.err.find("[json"), std::string::npos) << r.err;
    EXPECT_EQ(r.err.find('\n'), r.err.size() - 1) << r.err;
    EXPECT_TRUE(r.out.empty()) << r.out;
  }
}

TEST(DiagnoseCommand, MalformedPathGetsOneClearLine) {
  const Folder f;
  for (const char* text : {"= =", "title = 1\n", "title = \"x\"\n[[part]]\nname = \"a\"\n",
                           "title = \"x\"\n[[part]]\nname = \"a\"\n[[part]]\nname = \"a\"\n"}) {
    std::ofstream(f.path / "path.toml") << text;
    const auto r = run(f, "diagnose --path path.toml");
    EXPECT_EQ(r.exit, 3) << text << r.err;
    EXPECT_NE(r.err.find("path.toml"), std::string::npos) << r.err;
    EXPECT_EQ(r.err.find('\n'), r.err.size() - 1) << r.err;
  }
}

TEST(DiagnoseCommand, SimulatedCapturesLeadToTheirFault) {
  const Folder f;
  ASSERT_EQ(run(f, "signals faults termination-missing --out job --seed 3 --system 625").exit, 0);
  const std::string files =
      "job/lines.wav job/feed.wav job/camera.raw job/picture.yuv --lowband job/camera-lowband.wav --system "
      "625";
  const auto r = run(f, "diagnose --json " + files);
  ASSERT_EQ(r.exit, 1) << r.err;
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("findings").at(0).at("fault"), "termination-missing");
  EXPECT_EQ(j.at("captures").size(), 5U);
  EXPECT_NE(app_test::slurp(f.path / "job/answer.txt").find("termination-missing"), std::string::npos);
  EXPECT_NE(app_test::slurp(f.path / "job/observations.txt").find("terminations=none"), std::string::npos);
  // Captures are not written over, and a name that is no fault is bad usage.
  EXPECT_EQ(run(f, "signals faults pair-open --out job").exit, 2);
  EXPECT_EQ(run(f, "signals faults gull --out other").exit, 2);
}

// Kilometres of pair take the top of the speech band away; the practice set shows it by its response.
TEST(DiagnoseCommand, APracticeSetsResponseIsTakenAgainstWhatWasSent) {
  const Folder f;
  ASSERT_EQ(run(f, "signals faults pair-open --out job --seed 4").exit, 0);
  ASSERT_EQ(run(f, "signals write sweep-speech --out sent.wav").exit, 0);
  const auto r = run(f, "response sent.wav job/response.wav --json");
  std::ofstream(f.path / "job/response.json") << r.out;
  const auto d = run(f, "diagnose --json job/lines.wav job/response.json --sides two");
  ASSERT_EQ(d.exit, 1) << d.err;
  EXPECT_EQ(json::parse(d.out).at("findings").at(0).at("fault"), "pair-open");
}

// The input's own noise, 10 s of it: what a sound card gives with the cable out.
TEST(DiagnoseCommand, AnIdleLineNobodyAskedForIsOpen) {
  const Folder f;
  ASSERT_EQ(run(f, "signals write noise-white --level -92dBFS --seconds 10 --out idle.wav").exit, 0);
  EXPECT_EQ(run(f, "diagnose --json idle.wav").exit, 1);
  EXPECT_EQ(run(f, "diagnose --json --signal silence idle.wav").exit, 0);
}

// A tear of 0 px with its uncertainty says only that none is larger: no amount of tearing.
TEST(DiagnoseCommand, NoTearIsABound) {
  const Folder f;
  std::ofstream(f.path / "bars.json") << R"({"schema": "linebench/1", "readings": [
    {"id": "picture.signal", "value": "present"},
    {"id": "picture.jitter", "value": 2.0, "uncertainty": 0.05},
    {"id": "picture.tear", "value": 0, "uncertainty": 0.15}]})";
  const auto r = run(f, "diagnose --json --explain sync-missing bars.json");
  EXPECT_EQ(r.out.find("Tearing: 0"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("below 0.15 px"), std::string::npos) << r.out;
}

TEST(DiagnoseCommand, ARollingBarIsCalledHarmless) {
  const Folder f;
  std::ofstream(f.path / "bar.json") << R"({"schema": "linebench/1", "readings": [
    {"id": "picture.signal", "value": "present"},
    {"id": "picture.hum.level", "value": 0.4, "uncertainty": 0.05},
    {"id": "picture.hum.bar_rate", "value": 0.06, "uncertainty": 0.002}]})";
  const auto r = run(f, "diagnose bar.json");
  EXPECT_NE(r.out.find("harmless"), std::string::npos) << r.out;
}

}  // namespace

// A dead line proves nothing: neither that it is sound, nor that a fault went with the signal.
TEST(DiagnoseCommand, ALineByWhichNothingComesIsNeitherSoundNorCured) {
  const Folder f;
  const auto doc = [&](const char* name, const std::string& readings) {
    std::ofstream(f.path / name) << R"({"schema": "linebench/1", "readings": [)" + readings + "]}";
  };
  const std::string hum = R"({"id": "audio.hum.level", "value": -35, "uncertainty": 0.1},
                             {"id": "audio.hum.frequency", "value": 50.0, "uncertainty": 0.01},)";
  doc("dead.json", R"({"id": "audio.level.rms", "value": null, "verdict": "unmeasurable", "reason": "zero"},
                      {"id": "audio.hum.level", "value": null, "verdict": "unmeasurable", "at_most": -130})");
  doc("hum.json", hum + R"({"id": "audio.level.rms", "value": -18, "uncertainty": 0.1},
                           {"id": "audio.tone.level", "value": -18.1, "uncertainty": 0.1})");
  doc("gone.json", R"({"id": "audio.level.rms", "value": -90, "uncertainty": 0.1},
                      {"id": "audio.hum.level", "value": null, "verdict": "unmeasurable", "at_most": -130})");
  doc("cured.json", R"({"id": "audio.level.rms", "value": -18, "uncertainty": 0.1},
                       {"id": "audio.tone.level", "value": -18.1, "uncertainty": 0.1},
                       {"id": "audio.hum.level", "value": null, "verdict": "unmeasurable", "at_most": -100})");
  auto r = run(f, "diagnose dead.json");
  EXPECT_EQ(r.exit, 1) << r.err;
  EXPECT_NE(r.out.find("Nothing came in by dead.json"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("SOUND"), std::string::npos) << r.out;
  EXPECT_EQ(json::parse(run(f, "diagnose --json dead.json").out).at("silent"), json::array({"dead.json"}));
  // What comes in by the others is still reasoned on.
  r = run(f, "diagnose dead.json cured.json");
  EXPECT_EQ(r.exit, 1) << r.out;
  EXPECT_EQ(json::parse(run(f, "diagnose --json dead.json hum.json").out).at("findings"),
            json::parse(run(f, "diagnose --json hum.json").out).at("findings"));
  for (const char* after : {"dead.json", "gone.json"}) {
    r = run(f, std::string("compare hum.json ") + after + " --did unplugged");
    EXPECT_NE(r.out.find("cannot be told"), std::string::npos) << after << r.out << r.err;
    EXPECT_EQ(r.out.find("is gone"), std::string::npos) << r.out;
  }
  EXPECT_EQ(run(f, "compare hum.json cured.json").out.find("cannot be told"), std::string::npos);
  std::ofstream(f.path / "path.toml")
      << "title = \"Lane 1\"\n[[part]]\nname = \"camera\"\ncapture = "
         "\"cured.json\"\n[[part]]\nname = \"cable\"\ncapture = \"dead.json\"\n";
  r = run(f, "diagnose --path path.toml");
  EXPECT_NE(r.out.find("comes in at cable"), std::string::npos) << r.out;
}
