// Exported jobs: JSON with all that belongs to them, CSV that a spreadsheet reads and does not run.
#include <gtest/gtest.h>

#include <fstream>
#include <linebench/job/export.hpp>
#include <nlohmann/json.hpp>

#include "../capture/temp_folder.hpp"
#include "../support/python.hpp"

namespace {

using namespace linebench;
using namespace linebench::job;

Store store_with_a_job(const TempFolder& folder) {
  Store store(folder.path() / "jobs.sqlite");
  const Job job =
      store.open_job({JobKind::Site, "=cmd|' /C calc'!A0", "says \"hum\",\nloud", "Pier, \"north\"", "", ""});
  Capture c;
  c.label = "counter 2";
  c.file = folder.path() / "gone.wav";
  c.view = "audio";
  c.verdict = "fail";
  c.readings = {number_reading("audio.hum.level", -41.25, 0.05, "=1+1"),
                curve_reading("audio.response", {{100, 1000}, {-1.5, 0}, "Hz", "dB", {}}, 0.2),
                unmeasurable("audio.sti", "needs the signal stipa, 15 s")};
  store.add(job, c);
  store.note(job, "first\nsecond");
  return store;
}

TEST(Export, JsonHoldsTheWholeJob) {
  const TempFolder folder;
  const Store store = store_with_a_job(folder);
  const auto j = whole_job_to_json(store, store.job("last"));
  EXPECT_EQ(j.at("captures").at(0).at("readings").size(), 3u);
  EXPECT_EQ(j.at("captures").at(0).at("readings").at(0).at("value"), -41.25);
  EXPECT_NE(j.at("captures").at(0).at("file_state").get<std::string>().find("not where it was"),
            std::string::npos);
  EXPECT_EQ(j.at("notes").at(0).at("text"), "first\nsecond");
  EXPECT_EQ(j.at("site").at("name"), "Pier, \"north\"");
}

TEST(Export, CsvIsReadBackByAnotherReader) {
  const TempFolder folder;
  const Store store = store_with_a_job(folder);
  const auto file = folder.path() / "readings.csv";
  std::ofstream(file, std::ios::binary) << readings_csv(store, store.jobs());
  // Python's csv module is the independent reader.
  const auto rows = nlohmann::json::parse(testing_support::run_python(
      "import csv,json,sys\nprint(json.dumps(list(csv.DictReader(open(sys.argv[1],newline='')))))",
      {file.string()}));
  ASSERT_EQ(rows.size(), 4u) << "a curve is one line a point";
  EXPECT_EQ(rows[0].at("site"), "Pier, \"north\"");
  EXPECT_EQ(rows[0].at("value"), "-41.25");
  EXPECT_EQ(rows[0].at("reason"), "'=1+1") << "a formula must not be run";
  EXPECT_EQ(rows[1].at("id"), "audio.response@100 Hz");
  EXPECT_EQ(rows[2].at("value"), "0");
  EXPECT_EQ(rows[3].at("verdict"), "unmeasurable");
}

}  // namespace
