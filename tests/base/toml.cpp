// What TOML is let through to the library: the examples of TOML 1.0 (from memory), and what breaks it.
#include "../src/base/toml.hpp"

#include <gtest/gtest.h>

#include <string>

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
        "\"q\" . 'r'.\"s\"={t=\"u\"}\nv=['w',\"x\"]\n"})
    EXPECT_EQ(refused(good), "") << good;
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
  EXPECT_NE(refused("["), "");
  EXPECT_NE(refused("[[ ]]"), "");
  EXPECT_NE(refused("a = \"x"), "");
}

}  // namespace
