// Every target over every input of its corpus: hand-made ones, and those that once found a defect.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <vector>
#include <where.hpp>

#include "target.hpp"

namespace {

namespace fs = std::filesystem;

const fs::path corpus = fs::path(LINEBENCH_SOURCE_DIR) / "tests" / "fuzz" / "corpus";

std::vector<fs::path> inputs(const std::string& target) {
  std::vector<fs::path> files;
  std::error_code none;
  for (const auto& e : fs::directory_iterator(corpus / target, none)) files.push_back(e.path());
  std::sort(files.begin(), files.end());
  return files;
}

std::vector<std::string> names() {
  std::vector<std::string> all;
  for (const auto& [name, entry] : fuzz::targets()) all.push_back(name);
  return all;
}

class Corpus : public testing::TestWithParam<std::string> {};

TEST_P(Corpus, IsReadOrRefusedInOneLine) {
  const auto entry = fuzz::targets().at(GetParam());
  const auto files = inputs(GetParam());
  EXPECT_FALSE(files.empty()) << "a target needs some inputs to start from";
  for (const fs::path& file : files) {
    std::ifstream in(file, std::ios::binary);
    const std::string input{std::istreambuf_iterator<char>(in), {}};
    EXPECT_NO_THROW(entry(input)) << file;
  }
}
INSTANTIATE_TEST_SUITE_P(Fuzz, Corpus, testing::ValuesIn(names()), [](const auto& p) { return p.param; });

TEST(Corpus, BelongsToTargets) {
  std::uintmax_t bytes = 0;
  for (const auto& folder : fs::directory_iterator(corpus)) {
    EXPECT_TRUE(fuzz::targets().contains(folder.path().filename().string())) << folder.path();
    for (const auto& e : fs::directory_iterator(folder.path())) bytes += e.file_size();
  }
  EXPECT_LT(bytes, 300'000U) << "the corpus stays small";
}

}  // namespace
