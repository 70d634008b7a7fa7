#include <fstream>
#include <iterator>
#include <linebench/base/version.hpp>
#include <linebench/diagnose/fault_book.hpp>
#include <system_error>

#include "book_readers.hpp"

namespace linebench::diagnose {
namespace {

namespace fs = std::filesystem;

constexpr const char* signs_file = "signs.toml";

std::string read_text(const fs::path& path) {
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
        book = std::move(tried);
      } catch (const Error& e) {
        book.problems.emplace_back(fmt::format("left out: {}", e.what()));
      }
    }
    for (const fs::path& file : toml_files(folders[i])) {
      try {
        Fault fault = parse_fault(read_text(file), file.stem().string(), file.string(), book);
        const auto same = std::find_if(book.faults.begin(), book.faults.end(),
                                       [&](const Fault& f) { return f.id == fault.id; });
        if (same == book.faults.end()) {
          book.faults.push_back(std::move(fault));
        } else {
          *same = std::move(fault);
        }
      } catch (const Error& e) {
        book.problems.emplace_back(fmt::format("fault left out: {}", e.what()));
      }
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
