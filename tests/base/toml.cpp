// What TOML is let through to the library: the examples of TOML 1.0 (from memory), and what breaks it.
#include "../src/base/toml.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <where.hpp>

namespace {

using linebench::parse_toml;
using linebench::TomlError;

std::string refused(std::string_view text) {
  try {
    (void)parse_toml(text);
  } catch (const TomlError& e) {
    return std::to_string(e.line) + ": " + e.what;
  }
  return "";
}

TEST(Toml, LetsThroughWhatTomlAllows) {
  for (const char* good :
       {"",
        "\xef\xbb\xbf"
        "a = 1\n",
        "a = [\n  [1, 2],\n  [ {x = 1} ],\n]\n[t]\n", "# K\u00f6ln [\n[ t ]\n[[ \"u.\u00e9\" ]]\n['v']",
        "a = '''\n[ \u00e9\n''' # x\nb = \"\"\"\n[\\\"\"\"\"\n[-1]\n",
        "a = \"\\\"[\" # [\n[_x.y]\r\nb = 'c:\\'\n[z]\n", "a = {b = [1, {c = 2}]}\n[d] # [ \u00e9\n",
        "\"q\" . 'r'.\"s\"={t=\"u\"}\nv=['w',\"x\"]\n",
        "a = 1979-05-27 07:32:00Z # x\nb = 1979-05-27T00:32:00.99-07:00\nc = 07:32:00\nd = 1979-05-27\n",
        "a = +1_000\nb = 0xDEAD_beef\nc = -inf\nd = nan\ne = 6.626e-34\nf = 0b1101\n3.14 = true\n",
        "a = \"\"\"\u00e9 \\\n  x\u00e9 \\\n  \\u00e9 \\\n  \"\u00e9\\\"\u00e9\"\"\"\nb = '''\\\n\u00e9'''\n",
        "a = \"\"\nb = ''\nc = \"\"\"\"\"two quotes\"\"\"\"\"\nd = ''''that,' she said'''\n",
        "a = [ # c\n  1, # \u00e9\n\n  'x' # d\n  ,\n]\nb = [[]]\nc = {}\n[[d]]\n[[d.e]] # f"})
    EXPECT_EQ(refused(good), "") << good;
}

TEST(Toml, LetsThroughAllOfOurs) {
  int files = 0;
  for (const auto& e : std::filesystem::recursive_directory_iterator(LINEBENCH_SOURCE_DIR "/signals")) {
    if (e.path().extension() != ".toml") continue;
    std::ifstream in(e.path(), std::ios::binary);
    EXPECT_EQ(refused(std::string{std::istreambuf_iterator<char>(in), {}}), "") << e.path();
    ++files;
  }
  EXPECT_GT(files, 20);
}

TEST(Toml, RefusesWhatBreaksTheLibrary) {
  EXPECT_EQ(refused("a = 1\n[[\nb = 2"), "2: a table needs a name between its brackets");
  EXPECT_EQ(refused("[[[a]]]"), "1: a table needs a name between its brackets");
  EXPECT_EQ(refused("[=]"), "1: a table needs a name between its brackets");
  EXPECT_EQ(refused("# c\nK\u03bb = 1"), "2: a letter that is not plain ASCII must stand in quotes");
  EXPECT_EQ(refused("a = \u00a01"), "1: a letter that is not plain ASCII must stand in quotes");
  EXPECT_EQ(refused("a = 0\"x\""), "1: a quote in the middle of a word");
  EXPECT_EQ(refused("a = [\n}]"), "2: a bracket closes that was not opened");
  EXPECT_EQ(refused("a = " + std::string(500, '[')), "1: brackets are nested too deeply");
  EXPECT_EQ(refused("m=1[\"~\u03cd~"), "1: a line goes on where it should end");
  EXPECT_EQ(refused("a = 1{"), "1: a line goes on where it should end");
  EXPECT_EQ(refused("a = [1 2]"), "1: a comma or ] is missing");
  EXPECT_EQ(refused("a = {b = 1\n}"), "1: a comma or } is missing");
  const std::string joined =
      "the first letter after a \\ that joins lines must be plain ASCII: break the line elsewhere or "
      "write the letter as \\uXXXX";
  EXPECT_EQ(refused("a = \"\"\"one \\\n\n  \u00e9t\u00e9\"\"\""), "3: " + joined);
  EXPECT_EQ(refused("a = \"\"\"one \\\r\n\u034d\"\"\""), "2: " + joined);
  EXPECT_EQ(refused("a = \"\"\"one \\\u00e9\"\"\""), "1: " + joined);
  EXPECT_EQ(refused("\n= 1"), "2: a name is missing");
  EXPECT_EQ(refused("a =\nb = 1"), "1: a value is missing");
  EXPECT_EQ(refused("a b = 1"), "1: a = is missing");
  EXPECT_NE(refused("["), "");
  EXPECT_NE(refused("[[ ]]"), "");
  EXPECT_NE(refused("a = \"x"), "");
}

}  // namespace
