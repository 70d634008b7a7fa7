// The runner of the Python references itself: a failing script must fail the test, never pass in silence.
#include <gtest/gtest.h>

#include <string>
#include <support/python.hpp>
#include <vector>

namespace {

TEST(PythonRunner, HandsOverArgumentsAndReturnsOutput) {
  EXPECT_EQ(run_python("import sys\nprint(sys.argv[1:])", {"a b", "c"}), "['a b', 'c']\n");
}

TEST(PythonRunner, ReadsRawSamplesAndNumbers) {
  const testing_support::TempDir dir;
  testing_support::write_raw(dir / "x", std::vector<float>{0.25F, -3.0F});
  const auto v = run_python_numbers("import sys, numpy as np, scipy\nprint(*np.fromfile(sys.argv[1], '<f4'))",
                                    {dir / "x"});
  EXPECT_EQ(v, (std::vector<double>{0.25, -3.0}));
}

TEST(PythonRunner, FailsLoudlyWithTheScriptsError) {
  try {
    (void)run_python("import no_such_module_here");
    FAIL() << "a failing script passed";
  } catch (const std::runtime_error& e) {
    EXPECT_NE(std::string(e.what()).find("no_such_module_here"), std::string::npos) << e.what();
  }
  EXPECT_THROW((void)run_python_numbers("print('1.0 oops')"), std::runtime_error);
}

}  // namespace
