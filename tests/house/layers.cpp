// The house keeps its shape: parts know only what stands to their left, files stay small, the tree holds only
// what was agreed, and nothing unfinished or private stands in it.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>
#include <where.hpp>

namespace {

namespace fs = std::filesystem;

const fs::path root = LINEBENCH_SOURCE_DIR;

// Rank of each part: it may include parts of its own or a lower rank. base stands under all; dsp and
// standards know nobody but base.
const std::map<std::string, int> rank = {{"base", 0},    {"dsp", 1},     {"standards", 1}, {"signals", 2},
                                         {"capture", 3}, {"measure", 4}, {"judge", 5},     {"diagnose", 6},
                                         {"job", 7},     {"report", 8},  {"check", 9},     {"live", 9},
                                         {"app", 10},    {"opencv", 4},  {"faultsim", 4}};

std::vector<fs::path> sources() {
  std::vector<fs::path> files;
  for (const char* top : {"src", "include", "tests"}) {
    for (const auto& e : fs::recursive_directory_iterator(root / top)) {
      const auto ext = e.path().extension();
      if (e.is_regular_file() && (ext == ".cpp" || ext == ".hpp")) files.push_back(e.path());
    }
  }
  std::sort(files.begin(), files.end());
  return files;
}

std::string slurp(const fs::path& p) {
  std::ifstream in(p);
  return {std::istreambuf_iterator<char>(in), {}};
}

// The part a file under src/ or include/linebench/ belongs to; empty for others.
std::string part_of(const fs::path& file) {
  const auto rel = fs::relative(file, root).generic_string();
  for (const std::string top : {"src/", "include/linebench/"}) {
    if (rel.starts_with(top)) {
      const auto rest = rel.substr(top.size());
      const auto slash = rest.find('/');
      return slash == std::string::npos ? "" : rest.substr(0, slash);
    }
  }
  return {};
}

TEST(House, PartsKnowOnlyWhatStandsLeftOfThem) {
  const std::regex include(R"(#include\s*[<"]linebench/([a-z]+)/)");
  int seen = 0;
  for (const auto& file : sources()) {
    const auto part = part_of(file);
    if (part.empty()) continue;
    ASSERT_TRUE(rank.contains(part)) << file << ": the part '" << part << "' has no place in the order";
    const std::string text = slurp(file);
    for (auto it = std::sregex_iterator(text.begin(), text.end(), include); it != std::sregex_iterator();
         ++it) {
      const std::string other = (*it)[1];
      ++seen;
      ASSERT_TRUE(rank.contains(other)) << file;
      const bool sideways = part != other && rank.at(part) == rank.at(other) && rank.at(part) == 1;
      EXPECT_LE(rank.at(other), rank.at(part)) << file << " includes " << other;
      EXPECT_FALSE(sideways) << file << ": dsp and standards do not know each other";
    }
  }
  EXPECT_GT(seen, 20) << "the check read nothing";
}

// What scores the diagnosis must not be known to it, nor know what it is scored by.
TEST(House, SimulatorAndFaultBookDoNotKnowEachOther) {
  for (const auto& file : sources()) {
    const auto part = part_of(file);
    const std::string text = slurp(file);
    if (part == "faultsim") {
      EXPECT_EQ(text.find("linebench/diagnose/"), std::string::npos) << file;
      EXPECT_EQ(text.find("signals/faults"), std::string::npos) << file;
    } else if (!part.empty() && part != "app") {
      EXPECT_EQ(text.find("linebench/faultsim/"), std::string::npos) << file;
    }
  }
}

TEST(House, NoFileOver500Lines) {
  for (const auto& file : sources()) {
    const auto text = slurp(file);
    EXPECT_LE(std::count(text.begin(), text.end(), '\n'), 500) << file;
  }
}

// Two classes of one full name link without a word, and one of them then runs the other's code.
TEST(House, NoTwoClassesOfOneName) {
  const std::regex space(R"(^namespace ([a-z_:]+) \{)");
  const std::regex type(R"(^(?:class|struct|enum class) ([A-Za-z0-9_:]+)[^;]*$)");
  std::map<std::string, std::string> seen;
  for (const auto& file : sources()) {
    const std::string name = fs::relative(file, root).generic_string();
    if (file.extension() != ".hpp" || name.starts_with("tests/")) continue;
    std::istringstream in(slurp(file));
    std::string line, inside;
    for (std::smatch m; std::getline(in, line);) {
      if (std::regex_search(line, m, space)) inside = m[1];
      if (!std::regex_search(line, m, type)) continue;
      const auto [at, fresh] = seen.emplace(inside + "::" + m[1].str(), name);
      EXPECT_TRUE(fresh) << at->first << " in " << at->second << " and in " << name;
    }
  }
  EXPECT_GT(seen.size(), 100U);
}

TEST(House, HeavyHeadersStayOutOfTheApi) {
  const std::regex heavy(
      R"(#include\s*<(Eigen/|toml\+\+/|nlohmann/json\.hpp|CLI/|opencv2/|fftw3|sndfile|portaudio|ebur128|httplib))");
  for (const auto& file : sources()) {
    const auto rel = fs::relative(file, root).generic_string();
    if (!rel.starts_with("include/")) continue;
    EXPECT_FALSE(std::regex_search(slurp(file), heavy)) << rel;
  }
}

// What the contributor's guide names is there: whole paths, and files named alone somewhere in the tree.
// A translator of reports reads words*.cpp and phrases.hpp; sentences elsewhere in that part would be missed.
// A card above a function, beside it, or above what it stands under without an empty line between.
TEST(House, EveryPublicHeaderAndItsFunctionsHaveCards) {
  const std::regex function(R"(^(\[\[nodiscard\]\] |\[\[noreturn\]\] |void |int |std::)[^=]*\(.*)");
  for (const fs::path& file : sources()) {
    const std::string name = fs::relative(file, root).generic_string();
    if (!name.starts_with("include/linebench/")) continue;
    std::istringstream in(slurp(file));
    std::vector<std::string> lines;
    for (std::string line; std::getline(in, line);) lines.push_back(line);
    ASSERT_FALSE(lines.empty()) << name;
    EXPECT_TRUE(lines[0].starts_with("// ")) << name << " does not say what it is for";
    for (std::size_t i = 0; i < lines.size(); ++i) {
      if (!std::regex_match(lines[i], function)) continue;
      std::size_t last = i;  // of the declaration
      while (last + 1 < lines.size() && lines[last].find(';') == std::string::npos &&
             lines[last].find('{') == std::string::npos)
        ++last;
      bool card = lines[last].find("//") != std::string::npos;
      for (std::size_t k = i; !card && k > 0 && !lines[k - 1].empty(); --k)
        card = lines[k - 1].starts_with("//");
      EXPECT_TRUE(card) << name << ":" << i + 1 << ": " << lines[i];
    }
  }
}

TEST(House, WordsOfReportsStandInTheirPlace) {
  const std::regex literal(R"("(?:[^"\\\n]|\\.)*")");
  const std::regex aside(R"(<[^<>]*(>|"$)|\{[^}]*\}|\\.)");  // markup, what is filled in, escapes
  const std::regex sentence(R"([A-Za-z]{3,} [a-z]{2,})");
  const std::set<std::string> no_words = {"\"of full scale\"",
                                          "\"composite samples\""};  // a unit, a kind of capture
  int looked_at = 0;
  for (const fs::path& file : sources()) {
    const std::string name = file.filename().string();
    if (part_of(file) != "report" || file.extension() != ".cpp" || name.starts_with("words") ||
        name == "label.cpp")
      continue;
    ++looked_at;
    std::istringstream lines(slurp(file));
    for (std::string line; std::getline(lines, line);) {
      if (const auto comment = line.find("//"); comment != std::string::npos) line.erase(comment);
      for (std::sregex_iterator it(line.begin(), line.end(), literal), end; it != end; ++it) {
        const std::string bare = std::regex_replace(it->str(), aside, "");
        EXPECT_FALSE(std::regex_search(bare, sentence) && !no_words.contains(it->str()))
            << fs::relative(file, root) << ": " << it->str();
      }
    }
  }
  EXPECT_GT(looked_at, 12);
}

TEST(House, FilesNamedInTheGuideExist) {
  const std::string guide = slurp(root / "DEVELOPERS.md");
  std::set<std::string> names;
  for (const auto& file : sources()) {
    names.insert(file.filename().string());
  }
  for (const char* folder : {"src", "signals", "tests"}) {
    for (const auto& e : fs::recursive_directory_iterator(root / folder))
      names.insert(e.path().filename().string());
  }
  const std::regex named(R"(`([A-Za-z0-9_./-]+\.(?:cpp|hpp|toml|sh|py|json|txt|md))`)");
  int cited = 0;
  for (std::sregex_iterator m(guide.begin(), guide.end(), named), end; m != end; ++m) {
    const std::string name = (*m)[1];
    if (name.find("NAME") != std::string::npos) continue;  // stands for any
    ++cited;
    const bool whole = name.find('/') != std::string::npos;
    EXPECT_TRUE(fs::exists(root / name) || fs::exists(root / "include/linebench" / name) ||
                (!whole && names.contains(name)))
        << name << " is named in DEVELOPERS.md and is not there";
  }
  EXPECT_GT(cited, 25);
}

TEST(House, TopLevelIsWhatWasAgreed) {
  const std::regex agreed(
      R"(CMakeLists\.txt|README\.md|DEVELOPERS\.md|LICENSE|src|include|signals|tests|captures|build|\..*)");
  for (const auto& e : fs::directory_iterator(root)) {
    const auto name = e.path().filename().string();
    EXPECT_TRUE(std::regex_match(name, agreed)) << name;
  }
}

}  // namespace
