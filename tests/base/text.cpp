#include <gtest/gtest.h>

#include <linebench/base/text.hpp>

using linebench::lower_case;
using linebench::trimmed;

TEST(Text, LowerCaseLeavesAllButAsciiLettersAsTheyAre) {
  EXPECT_EQ(lower_case("SHOT-0012.PnG @[`{"), "shot-0012.png @[`{");
  EXPECT_EQ(lower_case("\xc3\x84"
                       "RM"),
            "\xc3\x84"
            "rm");
  EXPECT_EQ(lower_case(""), "");
}

TEST(Text, TrimmedTakesWhiteSpaceOffBothEndsOnly) {
  EXPECT_EQ(trimmed(" \t\r\n\v\f counter 2\t\n"), "counter 2");
  EXPECT_EQ(trimmed(" \t\n"), "");
  EXPECT_EQ(trimmed("a"), "a");
}
