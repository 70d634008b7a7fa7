// Who is heard on standard error.
#include <gtest/gtest.h>

#include <cstdio>
#include <linebench/base/quiet_stderr.hpp>
#include <thread>

namespace {
using namespace linebench;

TEST(QuietStderr, OnlyTheThreadThatIsToBeQuietIs) {
  testing::internal::CaptureStderr();
  pass_stderr_by_thread();
  std::fprintf(stderr, "one ");
  std::thread([] {
    std::fprintf(stderr, "two ");
    quiet_this_thread();
    std::fprintf(stderr, "Expression '%s' failed ", "ret");
  }).join();
  std::fprintf(stderr, "three ");
  {
    const QuietStderr quiet;
    std::fprintf(stderr, "nobody ");
  }
  std::fprintf(stderr, "four");
  EXPECT_EQ(testing::internal::GetCapturedStderr(), "one two three four");
}

}  // namespace
