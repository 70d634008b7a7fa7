#include <fstream>
#include <iterator>
#include <linebench/base/text.hpp>
#include <linebench/base/version.hpp>
#include <linebench/diagnose/fault_book.hpp>
#include <system_error>

#include "book_readers.hpp"

namespace linebench::diagnose {
namespace {

namespace fs = std::filesystem;

constexpr const char* signs_file = "signs.toml";

std::string read_text(const fs::path& path) {
  // A pipe would be waited on for ever, and a folder has no text.
  std::error_code ec;
  if (fs::exists(path, ec) && !fs::is_regular_file(path, ec))
    throw unusable(fmt::format("{}: is no file; an entry is a file of text", path.string()));
  std::ifstream in(path, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  if (!in)
    throw unusable(fmt::format("{}: cannot be read; check the path and its permissions", path.string()));
  return text;
}

std::vector<fs::path> toml_files(const fs::path& folder) {
  std::vector<fs::path> files;
  std::error_code ec;
  for (const auto& e : fs::directory_iterator(folder, ec)) {
    if (e.path().extension() == ".toml" && e.path().filename() != signs_file) files.push_back(e.path());
  }
  std::sort(files.begin(), files.end());  // so that the same book gives the same order everywhere
  return files;
}

}  // namespace

namespace {

bool mentions(const std::string& text, std::initializer_list<std::string_view> words) {
  const std::string all = lower_case(text);
  return std::any_of(words.begin(), words.end(),
                     [&](std::string_view w) { return all.find(w) != std::string::npos; });
}

bool same_sign(const Sign& a, const Sign& b) {
  return a.label == b.label && a.usual == b.usual && a.spread == b.spread && a.low == b.low &&
         a.high == b.high && a.words == b.words && a.family == b.family &&
         a.trial.has_value() == b.trial.has_value();
}

// Whoever wrote an entry: work on an earth shows its caution.
void with_caution(Fault& f) {
  constexpr std::string_view standing =
      "Never lift or defeat a protective earth to cure hum; local code and a licensed person decide.";
  const std::string advice = f.remedy + " " + f.tell_apart + " " + f.what;
  if (mentions(advice, {"earth", "ground"}) && !mentions(f.caution, {"protective earth"}))
    f.caution += (f.caution.empty() ? "" : " ") + std::string(standing);
}

}  // namespace

double to_working(Scale scale, double value) {
  switch (scale) {
    case Scale::Amount:
      return 20 * std::log10(std::max(value, 1e-6));
    case Scale::Count:
      return 10 * std::log10(1 + std::max(value, 0.0));
    default:
      return value;
  }
}

double from_working(Scale scale, double working) {
  switch (scale) {
    case Scale::Amount:
      return std::pow(10, working / 20);
    case Scale::Count:
      return std::pow(10, working / 10) - 1;
    default:
      return working;
  }
}

const Sign* FaultBook::sign(std::string_view id) const {
  const int i = sign_index(id);
  return i < 0 ? nullptr : &signs[static_cast<std::size_t>(i)];
}

int FaultBook::sign_index(std::string_view id) const {
  const auto it = index.find(id);
  return it == index.end() ? -1 : it->second;
}

const Fault* FaultBook::fault(std::string_view id) const {
  const auto it = std::find_if(faults.begin(), faults.end(), [&](const Fault& f) { return f.id == id; });
  return it == faults.end() ? nullptr : &*it;
}

FaultBook load_fault_book(const std::vector<fs::path>& folders) {
  FaultBook book;
  for (std::size_t i = 0; i < folders.size(); ++i) {
    const fs::path signs = folders[i] / signs_file;
    std::error_code ec;
    if (i == 0) {
      read_signs(TomlReader(signs.string()), read_text(signs), book);
    } else if (fs::exists(signs, ec)) {
      FaultBook tried = book;
      try {
        read_signs(TomlReader(signs.string()), read_text(signs), tried);
        std::string changed;
        for (std::size_t k = 0; k < book.signs.size(); ++k) {
          if (tried.signs[k].scale != book.signs[k].scale)
            throw unusable(
                fmt::format("{}: \"{}\" is kept on another scale by the shipped entries; give your sign "
                            "another id",
                            signs.string(), book.signs[k].id));
          if (!same_sign(tried.signs[k], book.signs[k]))
            changed += (changed.empty() ? "" : ", ") + book.signs[k].id;
        }
        book = std::move(tried);
        if (!changed.empty())
          book.problems.emplace_back(
              fmt::format("{}: takes the place of shipped signs: {}", signs.string(), changed));
      } catch (const Error& e) {
        book.problems.emplace_back(fmt::format("left out: {}", e.what()));
      }
    }
    for (const fs::path& file : toml_files(folders[i])) {
      try {
        Fault fault = parse_fault(read_text(file), file.stem().string(), file.string(), book);
        if (i > 0) with_caution(fault);
        const auto same = std::find_if(book.faults.begin(), book.faults.end(),
                                       [&](const Fault& f) { return f.id == fault.id; });
        if (same == book.faults.end()) {
          book.faults.push_back(std::move(fault));
        } else {
          book.problems.emplace_back(
              fmt::format("{}: takes the place of the shipped fault of that name", file.string()));
          *same = std::move(fault);
        }
      } catch (const Error& e) {
        book.problems.emplace_back(fmt::format("fault left out: {}", e.what()));
      }
    }
  }
  for (const Fault& f : book.faults) {
    for (const std::string& id : f.excludes) {
      if (book.fault(id) == nullptr)
        book.problems.emplace_back(fmt::format("{}: excludes \"{}\", and no fault is called that", f.id, id));
    }
  }
  return book;
}

FaultBook load_fault_book() {
  std::vector<fs::path> folders = {share_dir() / "signals" / "faults"};
  try {
    folders.push_back(store_dir() / "faults");
  } catch (const Error&) {
    // A user without a home folder has no entries of their own; the shipped ones still serve.
  }
  return load_fault_book(folders);
}

}  // namespace linebench::diagnose
