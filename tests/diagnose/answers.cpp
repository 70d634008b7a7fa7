// What the program answers, read as a person would: the next test, headlines, the sum of --explain,
// comparisons, paths, own entries, cautions.
#include <cmath>
#include <fstream>
#include <linebench/capture/audio_file.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <regex>
#include <set>

#include "app/run_program.hpp"
#include "job.hpp"
#include "support/disturbance_synth.hpp"

namespace {

using namespace diagnose_test;
using app_test::Folder;
using app_test::run;
using nlohmann::json;

const std::map<int, double> loop{{1, -42}, {3, -54}, {5, -58}, {7, -62}};

synth::Samples with_hum(double seconds, std::uint64_t seed) {
  synth::Samples x = quiet(seconds, seed);
  disturbance_synth::add_comb(x, rate, 50.02, loop);
  return x;
}

void write(const std::filesystem::path& file, const std::vector<synth::Samples>& channels) {
  std::filesystem::create_directories(file.parent_path());
  capture::AudioFileWriter out(file, rate, static_cast<int>(channels.size()), capture::SampleFormat::Pcm24);
  std::vector<float> all;
  for (std::size_t n = 0; n < channels[0].size(); ++n) {
    for (const synth::Samples& c : channels) all.push_back(c[n]);
  }
  out.write(all);
  out.finish({});
}

std::string one_line(std::string text) { return std::regex_replace(text, std::regex("\\s+"), " "); }

// With hum on one of two lines the blame is open between a loop and what is picked up (common practice: an
// isolation transformer tells them apart); a look or a meter on the path in question is proposed, not a
// capture of a view the job does not have.
TEST(Answers, NextTestBelongsToTheJob) {
  const Diagnosis d = diagnosed({measured({with_hum(20, 1), quiet(20, 2)})});
  ASSERT_TRUE(d.next_test.has_value());
  EXPECT_FALSE(d.next_test->notation.empty()) << d.next_test->label;
  EXPECT_EQ(d.next_test->id.find("video"), std::string::npos) << d.next_test->id;
  ASSERT_FALSE(d.findings.empty());
  for (const Finding& f : d.findings) {
    if (f.next_test) {
      EXPECT_EQ(f.next_test->id.find("video"), std::string::npos) << f.fault << f.next_test->id;
    }
  }
}

// A likely leader is proved first, and once its own test has spoken there is no asking for it again.
TEST(Answers, WhatProvesALikelyLeaderComesFirst) {
  std::vector<Evidence> evidence = gather(book(), {measured({with_hum(20, 1), quiet(20, 2)})});
  evidence.push_back(parse_observed("isolate-audio=gone", book()));
  const Diagnosis d = diagnose::diagnose(book(), evidence);
  EXPECT_EQ(first(d), "earth-loop-audio") << shown(d);
  if (d.next_test) {
    EXPECT_NE(d.next_test->id, "isolate-audio");
  }
}

TEST(Answers, NoGuessInTheHeadlineWhereNothingStands) {
  const Folder f;
  for (const char* seen : {"earth-points=one", "supply-ripple=3 mV"}) {
    const auto r = run(f, std::string("diagnose --observed '") + seen + "'");
    EXPECT_EQ(r.out.find("best guess"), std::string::npos) << r.out;
    EXPECT_NE(one_line(r.out).find("Nothing speaks clearly of a fault"), std::string::npos) << r.out;
  }
}

// Odds before times how much likelier the evidence is, over the sum of all such weights, is the probability
// (Bayes' rule); each figure is printed, and the printed ones must give it.
TEST(Answers, TheSumOfExplainAddsUp) {
  const Folder f;
  write(f.path / "hum.wav", {with_hum(20, 1)});
  for (const char* fault : {"earth-loop-audio", "transformer-field", "supply-ripple"}) {
    const json e =
        json::parse(run(f, std::string("diagnose --json hum.wav --explain ") + fault).out).at("explanation");
    double total = 0;
    double p = 0;
    double with_fault = 0;
    double alone = 0;
    for (const json& t : e.at("sum")) {
      const double w = std::pow(10, t.at("log10_weight").get<double>());
      const std::string what = t.at("what");
      total += w;
      p += t.at("probability").get<double>();
      if (what.starts_with("this fault")) with_fault += w;
      if (what == "this fault alone") alone = w;
      if (what == "nothing wrong") {
        EXPECT_NEAR(w, 1, 1e-3);
      }
    }
    EXPECT_NEAR(p, 1, 1e-4);
    EXPECT_NEAR(with_fault / total, e.at("probability").get<double>(), 1e-3) << fault;
    const Diagnosis d = diagnosed({measured({with_hum(20, 1)}, "hum.wav")});
    EXPECT_NEAR(e.at("probability").get<double>(), probability(d, fault), 0.02) << fault;
    const auto text = run(f, std::string("diagnose hum.wav --explain ") + fault).out;
    std::smatch m;
    const std::string flat = one_line(text);
    ASSERT_TRUE(
        std::regex_search(flat, m, std::regex("Odds before ([0-9.]+) times all together (x|/)([0-9.^]+)")))
        << text;
    const std::string n = m[3];
    double times = n.starts_with("10^") ? std::pow(10, std::stod(n.substr(3))) : std::stod(n);
    if (m[2] == "/") times = 1 / times;
    EXPECT_NEAR(std::log10(std::stod(m[1]) * times), std::log10(alone), 0.05) << text;
  }
}

// The ways a fault can show itself are several; the figures beside the evidence are of the one that holds.
TEST(Answers, ExpectedFiguresAreOfTheLikeliestWay) {
  const Folder f;
  synth::Samples x = tone(20, 12);
  for (std::size_t i = 0; i < x.size(); ++i) {
    if (std::fmod(static_cast<double>(i) / rate, 5.0) > 2.5) x[i] *= 0.4F;
  }
  write(f.path / "steps.wav", {x});
  const std::string text = one_line(run(f, "diagnose steps.wav --explain recorder-fault").out);
  EXPECT_NE(text.find("automatic gain"), std::string::npos) << text;
  EXPECT_NE(text.find("does nothing to it: Hum, mains fundamental"), std::string::npos) << text;
  EXPECT_EQ(text.find("42 to 71320"), std::string::npos) << text;
}

TEST(Answers, CompareSaysWhatCannotBeCompared) {
  const Folder f;
  write(f.path / "a.wav", {with_hum(15, 1)});
  write(f.path / "two.wav", {with_hum(15, 1), quiet(15, 2)});
  write(f.path / "dead.wav", {synth::Samples(synth::count(15, rate), 0.0F)});
  write(f.path / "b.wav", {quiet(15, 3)});
  write(f.path / "c.wav", {quiet(15, 4)});
  const auto said = [&](const std::string& files) {
    const auto r = run(f, "compare " + files + " --did 'pulled shield'");
    EXPECT_EQ(r.exit, 0) << r.err;
    return one_line(r.out + r.err);
  };
  const std::string same = said("a.wav a.wav");
  EXPECT_NE(same.find("one and the same capture"), std::string::npos) << same;
  EXPECT_EQ(same.find("one and the same", same.find("one and the same") + 5), std::string::npos) << same;
  EXPECT_NE(said("a.wav two.wav").find("1 channel, the second 2"), std::string::npos);
  EXPECT_EQ(said("a.wav two.wav").find("did not reach"), std::string::npos);
  const std::string dead = said("a.wav dead.wav");
  EXPECT_NE(dead.find("cannot be told"), std::string::npos) << dead;
  EXPECT_EQ(dead.find("is gone"), std::string::npos) << dead;
  EXPECT_EQ(dead.find("ranking"), std::string::npos) << dead;
  EXPECT_NE(said("a.wav b.wav").find("The fault is gone after \"pulled shield\""), std::string::npos);
  EXPECT_NE(said("b.wav c.wav").find("no fault before"), std::string::npos);
}

struct PathFolder : Folder {
  PathFolder() {
    write(path / "a/x.wav", {quiet(15, 21)});
    write(path / "b/x.wav", {with_hum(15, 22)});
    write(path / "c/x.wav", {quiet(15, 23)});
  }
  [[nodiscard]] app_test::Result along(const std::vector<const char*>& captures) const {
    std::ofstream toml(path / "path.toml");
    toml << "title = \"Lane 1\"\n";
    const char* parts[] = {"source", "cable", "hub", "station"};
    for (std::size_t i = 0; i < captures.size(); ++i) {
      toml << "[[part]]\nname = \"" << parts[i] << "\"\n";
      if (*captures[i] != 0) toml << "capture = \"" << captures[i] << "\"\n";
    }
    toml.close();
    auto r = run(*this, "diagnose --path path.toml");
    r.out = one_line(r.out);
    return r;
  }
};

TEST(Answers, CapturesOfOneNameAlongAPathStayApart) {
  const PathFolder f;
  const auto r = f.along({"a/x.wav", "b/x.wav", "", ""});
  EXPECT_EQ(r.exit, 1) << r.err;
  EXPECT_NE(r.out.find("The fault comes in at cable"), std::string::npos) << r.out;
  EXPECT_NE(r.out.find("b/x.wav"), std::string::npos) << r.out;
}

// What came in at one place of a line shows at all behind it: that is no hum "everywhere".
TEST(Answers, PlacesAlongOnePathAreOneLine) {
  PathFolder f;
  write(f.path / "d/x.wav", {with_hum(15, 24)});
  const auto r = f.along({"b/x.wav", "d/x.wav"});
  EXPECT_EQ(r.out.find("of 2 paths"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("Earth at two points is likely"), std::string::npos) << r.out;
}

TEST(Answers, APathThatContradictsItselfIsCalledSo) {
  const PathFolder f;
  const auto r = f.along({"b/x.wav", "a/x.wav"});
  EXPECT_NE(r.out.find("the two do not fit"), std::string::npos) << r.out;
  const auto twice = f.along({"a/x.wav", "a/x.wav"});
  EXPECT_EQ(twice.exit, 3);
  EXPECT_NE(twice.err.find("have one capture"), std::string::npos) << twice.err;
}

TEST(Answers, APathWithoutCapturesSaysWhereToBegin) {
  const PathFolder f;
  const auto r = f.along({"", "", ""});
  EXPECT_EQ(r.exit, 1) << r.err;
  EXPECT_NE(r.out.find("begin at the end of hub"), std::string::npos) << r.out;
  EXPECT_EQ(r.out.find("SOUND"), std::string::npos) << r.out;
  EXPECT_EQ(f.along({"nowhere.wav", ""}).exit, 3);
}

TEST(Answers, ASavedDiagnosisFedBackSaysTheSame) {
  const Folder f;
  write(f.path / "hum.wav", {with_hum(15, 1)});
  write(f.path / "ok.wav", {quiet(15, 2)});
  const auto r = run(f, "diagnose --json hum.wav ok.wav --observed earth-points=two --system 525");
  std::ofstream(f.path / "saved.json") << r.out;
  const json a = json::parse(r.out);
  const json b = json::parse(run(f, "diagnose --json saved.json").out);
  EXPECT_EQ(a.at("findings"), b.at("findings"));
  EXPECT_EQ(a.at("observed"), b.at("observed"));
  EXPECT_EQ(a.at("site"), b.at("site"));
  // A later look is added; what is told anew takes its place.
  const json c = json::parse(run(f, "diagnose --json saved.json --observed 'earth-ohms=0.2 ohm'").out);
  EXPECT_EQ(c.at("observed").size(), 2U);
  const json d = json::parse(run(f, "diagnose --json saved.json --observed earth-points=one").out);
  EXPECT_EQ(d.at("observed"), json::array({"earth-points=one"}));
  // Documents without readings are named as such.
  std::ofstream(f.path / "why.json") << run(f, "diagnose --json hum.wav --explain dimmer").out;
  EXPECT_NE(run(f, "diagnose why.json").err.find("holds no readings"), std::string::npos);
}

TEST(Answers, WhatCannotBeReadGetsOneLine) {
  const Folder f;
  std::filesystem::create_directories(f.path / "folder");
  std::ofstream(f.path / "noise.wav") << "no samples at all";
  ASSERT_EQ(std::system(("mkfifo '" + (f.path / "pipe.wav").string() + "'").c_str()), 0);
  for (const auto& [file, words] : {std::pair{"folder", "folder/*.wav"}, std::pair{"noise.wav", "noise.wav"},
                                    std::pair{"pipe.wav", "pipe"}}) {
    const auto r = run(f, std::string("diagnose ") + file);
    EXPECT_EQ(r.exit, 3) << file;
    EXPECT_NE(r.err.find(words), std::string::npos) << r.err;
    EXPECT_EQ(r.err.find('\n'), r.err.size() - 1) << r.err;
  }
}

// The whole is named, not one of its multiples.
TEST(Answers, TheFirstLineIsTheReadingAPersonAsksFor) {
  const Folder f;
  for (const auto& [name, gain_db] : {std::pair{"before.wav", 0.0}, {"after.wav", 9.54}}) {
    synth::Samples x = tone(10, 41);
    for (const auto& [k, db] : std::map<int, double>{{1, -50}, {3, -58}, {5, -62}})
      synth::add_sine(x, rate, 50.0 * k, db + gain_db, k);
    write(f.path / name, {x});
  }
  const nlohmann::json c =
      nlohmann::json::parse(run(f, "compare --json before.wav after.wav").out).at("comparison");
  EXPECT_TRUE(c.at("summary").get<std::string>().starts_with("Hum: ")) << c.at("summary");
  for (const nlohmann::json& x : c.at("changes")) {
    if (x.at("id") == "audio.hum.level") {
      EXPECT_NEAR(x.at("difference").get<double>(), 9.54, 0.02);
    }
  }
}

// A folder stands for the captures in it.
TEST(Answers, AFolderIsItsCaptures) {
  const Folder f;
  write(f.path / "job" / "a.wav", {with_hum(10, 61)});
  write(f.path / "job" / "b.WAV", {tone(10, 62)});
  std::ofstream(f.path / "job" / "notes.txt") << "no capture";
  const json folder = json::parse(run(f, "diagnose --json job").out);
  const json files = json::parse(run(f, "diagnose --json job/a.wav job/b.WAV").out);
  EXPECT_EQ(folder.at("findings"), files.at("findings"));
  EXPECT_EQ(folder.at("captures").size(), 2U);
}

// Many sound captures: a screen, not a scroll.
TEST(Answers, ManySoundFilesAreAFewLines) {
  const Folder f;
  std::string files;
  for (int k = 0; k < 50; ++k) {
    const std::string name = "p" + std::to_string(k) + ".wav";
    write(f.path / name, {tone(5, 300 + static_cast<std::uint64_t>(k))});
    files += " " + name;
  }
  const auto r = run(f, "diagnose" + files);
  EXPECT_EQ(r.exit, 0) << r.out;
  EXPECT_LT(std::count(r.out.begin(), r.out.end(), '\n'), 30) << r.out;
}

// An own entry that speaks of earths shows the standing caution, and what takes a shipped place is said.
TEST(Answers, OwnEntriesGetTheirCautionAndAreNamed) {
  const Folder f;
  std::filesystem::create_directories(f.path / "home/faults");
  std::ofstream(f.path / "home/faults/dimmer.toml") << R"(label = "Own dimmer"
what = "w"
group = "pick-up"
prior = 0.05
views = ["audio"]
test = "dimmer-off"
tell_apart = "t"
remedy = "Move the earth wire."
source = "own"
[effects]
"audio.click" = {from = 1, to = 50, spread = 3}
"dimmer-off" = {gone = 0.9}
)";
  const auto r = run(f, "diagnose --json --observed dimmer-off=gone");
  const json j = json::parse(r.out);
  EXPECT_EQ(j.at("findings").at(0).at("label"), "Own dimmer");
  EXPECT_NE(j.at("findings").at(0).at("caution").get<std::string>().find("protective earth"),
            std::string::npos);
  EXPECT_NE(j.at("notes").dump().find("takes the place of the shipped fault"), std::string::npos) << r.out;
}

// Whoever is led to work on mains, earths, shields or cards reads the caution with the step, and nowhere is a
// protective earth to be lifted (common practice; local code).
TEST(Answers, HazardousStepsCarryTheirCautions) {
  for (const Fault& f : book().faults) {
    const std::string advice = f.remedy + " " + f.tell_apart;
    const std::regex hazard("earth|ground|mains|supply|shield|module|card|duct|lighting", std::regex::icase);
    if (f.id == "camera-free-running") continue;  // what it says of the mains is their frequency
    EXPECT_TRUE(!f.caution.empty() || !std::regex_search(f.remedy, hazard)) << f.id << ": " << f.remedy;
    EXPECT_FALSE(std::regex_search(
        advice,
        std::regex(
            "(lift|defeat|cut|remove|disconnect|open|break) (the|a|its|that) (protective )?(earth|ground)",
            std::regex::icase)))
        << f.id << ": " << advice;
  }
  for (const Sign& s : book().signs) {
    if (!s.trial) continue;
    const std::regex hazard("shield|earth|supply|module|card|mains|send|volts|unplug", std::regex::icase);
    EXPECT_TRUE(!s.trial->caution.empty() || !std::regex_search(s.trial->how, hazard))
        << s.id << ": " << s.trial->how;
  }
}

TEST(Answers, CautionStandsBesideTheStepOnTheScreen) {
  const Folder f;
  write(f.path / "hum.wav", {with_hum(20, 1), quiet(20, 2)});
  const std::string text = one_line(run(f, "diagnose hum.wav").out);
  const auto cure = text.find("Cure:");
  ASSERT_NE(cure, std::string::npos) << text;
  const auto caution = text.find("CAUTION:", cure);
  ASSERT_NE(caution, std::string::npos);
  EXPECT_LT(caution, text.find("2. ", cure)) << text;
  EXPECT_NE(text.find("Never lift or defeat a protective earth"), std::string::npos) << text;
}

}  // namespace
