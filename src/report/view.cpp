#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <linebench/base/catalogue.hpp>
#include <linebench/judge/limits.hpp>
#include <linebench/judge/shown.hpp>
#include <linebench/report/view.hpp>
#include <linebench/report/words.hpp>
#include <map>

#include "phrases.hpp"

namespace linebench::report {
namespace {

constexpr std::string_view harmonic_kind = "audio.hum.harmonic.N";

// "audio.hum.level.left" -> {"audio.hum.level", "left"}
struct Split {
  std::string base, channel;
};

Split split(const std::string& id, const std::vector<std::string>& channels) {
  const auto dot = id.rfind('.');
  if (dot == std::string::npos) return {id, ""};
  std::string last = id.substr(dot + 1);
  if (std::find(channels.begin(), channels.end(), last) == channels.end()) return {id, ""};
  return {id.substr(0, dot), std::move(last)};
}

std::vector<std::string> channel_names(const CaptureFacts& facts) {
  std::vector<std::string> names;
  for (int c = 0; c < std::max(facts.channels, 1); ++c) {
    const std::string suffix = channel_suffix(c, facts.channels);
    names.push_back(suffix.empty() ? "" : suffix.substr(1));
  }
  return names;
}

std::string joined(const std::vector<std::string>& words) {
  std::string out;
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (i > 0) out += i + 1 == words.size() ? " and " : ", ";
    out += words[i];
  }
  return out;
}

std::string whole_value(const Shown& s) {
  std::string out = s.value;
  if (!s.uncertainty.empty()) out += " \u00b1" + s.uncertainty;
  if (!s.unit.empty()) out += " " + s.unit;
  return out;
}

int rank(Verdict v) {
  switch (v) {
    case Verdict::Fail:
      return 3;
    case Verdict::Pass:
      return 2;
    case Verdict::Info:
      return 1;
    case Verdict::Unmeasurable:
      return 0;
  }
  return 0;
}

bool is_harmonic(const Reading& r) {
  const ReadingKind* kind = find_kind(r.id);
  return kind != nullptr && kind->id == harmonic_kind;
}

// The colour codes and millivolts of each bar: of use where one digs, long where one reads.
bool is_second_view(const Reading& r) {
  return r.id.starts_with("picture.bars.") &&
         (r.id.ends_with(".luma_mv") || r.id.ends_with(".cb") || r.id.ends_with(".cr"));
}

bool is_signal(const Reading& r) {
  const ReadingKind* kind = find_kind(r.id);
  return kind != nullptr && kind->id == "audio.signal";
}

void merge_remark(std::string& have, const std::string& channel, const std::string& remark) {
  if (remark.empty()) return;
  if (!have.empty()) have += "; ";
  have += channel.empty() ? remark : channel + ": " + remark;
}

class Builder {
 public:
  Builder(const Document& document, bool all)
      : document_(document), all_(all), names_(channel_names(document.input)) {}

  View build() {
    view_.channels = names_;
    view_.limit_set = printable(document_.limit_set);
    for (const Reading& r : document_.readings) {
      if (r.measured()) {
        add_row(r);
      } else {
        add_gap(r);
      }
    }
    std::stable_sort(rows_.begin(), rows_.end(),
                     [](const Row& a, const Row& b) { return group_of(a.id).order < group_of(b.id).order; });
    for (Row& row : rows_) {
      const std::string title(group_of(row.id).title);
      if (view_.groups.empty() || view_.groups.back().title != title) view_.groups.push_back({title, {}});
      view_.groups.back().rows.push_back(std::move(row));
    }
    say_gaps();
    add_problems();
    add_facts();
    add_mains_comb();
    say_verdict();
    return std::move(view_);
  }

 private:
  void add_row(const Reading& r) {
    if (!all_ && (is_harmonic(r) || is_second_view(r)) && r.verdict != Verdict::Fail) return;
    const Split s = split(r.id, names_);
    auto it = std::find_if(rows_.begin(), rows_.end(),
                           [&](const Row& row) { return split(row.id, names_).base == s.base; });
    if (it == rows_.end()) {
      Row row;
      row.id = r.id;
      row.label = label_of(s.base);
      row.whole = s.channel.empty() && names_.size() > 1;
      row.cells.resize(row.whole ? 1 : names_.size());
      row.limit = show_limit(r);
      if (r.limit) row.source = r.limit->source;
      rows_.push_back(std::move(row));
      it = rows_.end() - 1;
    }
    const auto at = std::find(names_.begin(), names_.end(), s.channel);
    const auto column = it->whole || at == names_.end() ? 0 : static_cast<std::size_t>(at - names_.begin());
    Cell cell{show_value(r), r.verdict, true};
    cell.shown.value = printable(cell.shown.value);
    it->unit = cell.shown.unit;
    it->cells[std::min(column, it->cells.size() - 1)] = std::move(cell);
    if (rank(r.verdict) > rank(it->verdict)) it->verdict = r.verdict;
    merge_remark(it->remark, s.channel, printable(r.reason));
  }

  void add_gap(const Reading& r) {
    const bool wanted =
        std::find(document_.missing.begin(), document_.missing.end(), r.id) != document_.missing.end();
    const Split s = split(r.id, names_);
    const std::string reason = printable(r.reason);
    std::string detail = s.channel;
    if (r.at_most) detail += (detail.empty() ? "" : " ") + whole_value(show_value(r));
    auto gap = std::find_if(view_.gaps.begin(), view_.gaps.end(),
                            [&](const Gap& g) { return g.reason == reason && g.wanted == wanted; });
    if (gap == view_.gaps.end()) {
      view_.gaps.push_back({"", reason, wanted});
      gap_parts_.emplace_back();
      gap = view_.gaps.end() - 1;
    }
    auto& parts = gap_parts_[static_cast<std::size_t>(gap - view_.gaps.begin())];
    const std::string label = label_of(s.base);
    auto part = std::find_if(parts.begin(), parts.end(), [&](const auto& p) { return p.first == label; });
    if (part == parts.end()) part = parts.insert(parts.end(), {label, ""});
    if (!detail.empty()) part->second += (part->second.empty() ? "" : ", ") + detail;
  }

  void say_gaps() {
    for (std::size_t i = 0; i < view_.gaps.size(); ++i) {
      std::string& labels = view_.gaps[i].labels;
      for (const auto& [label, details] : gap_parts_[i]) {
        labels += (labels.empty() ? "" : ", ") + label + (details.empty() ? "" : " (" + details + ")");
      }
    }
  }

  void add_problems() {
    std::map<std::string, std::size_t> seen;  // by base id and side
    std::vector<std::vector<std::string>> where;
    for (const Reading& r : document_.readings) {
      if (r.verdict != Verdict::Fail) continue;
      const Split s = split(r.id, names_);
      const judge::Side side = judge::side(r);
      const std::string key = fmt::format("{} {}", s.base, static_cast<int>(side));
      const auto [it, fresh] = seen.try_emplace(key, view_.problems.size());
      const std::string value = printable(whole_value(show_value(r)));
      if (fresh) {
        // A tone that was sent has a least level as well.
        const bool standing = s.base == "audio.tone.level" && r.limit && !r.limit->min;
        const Words words = standing ? words_of_standing_tone() : words_for(r.id, side);
        view_.problems.push_back({std::string(words.fault), "", label_of(s.base), "", show_limit(r),
                                  r.limit ? r.limit->source : "", std::string(words.meaning),
                                  std::string(words.next), "", 0});
        where.emplace_back();
      }
      Problem& p = view_.problems[it->second];
      if (!s.channel.empty()) where[it->second].push_back(s.channel);
      if (!p.reading.empty()) p.reading += ", ";
      p.reading += s.channel.empty() ? value : s.channel + " " + value;
      merge_remark(p.remark, s.channel, printable(r.reason));
      p.severity = std::max(p.severity, judge::severity(r));
    }
    for (std::size_t i = 0; i < where.size(); ++i) view_.problems[i].where = joined(where[i]);
    std::stable_sort(view_.problems.begin(), view_.problems.end(),
                     [](const Problem& a, const Problem& b) { return a.severity > b.severity; });
  }

  void add_facts() {
    const CaptureFacts& f = document_.input;
    const auto add = [&](std::string piece) {
      if (!piece.empty()) view_.facts.push_back(printable(piece));
    };
    add(f.source);
    add(f.format);
    if (f.sample_rate_hz > 0)
      add(f.kind == "frames" ? fmt::format(phrase::frames_per_second, f.sample_rate_hz)
                             : show_hz(f.sample_rate_hz));
    if (f.channels > 0 && f.kind != "composite samples")
      add(f.channels == 1   ? phrase::mono
          : f.channels == 2 ? phrase::stereo
                            : fmt::format(phrase::channels, f.channels));
    if (f.frames > 0) add(show_duration(f.duration_s()));
    add(f.device);
    if (!f.signal.empty()) add(phrase::signal + f.signal);
    if (f.full_scale_v) add(fmt::format(phrase::full_scale, *f.full_scale_v));
    add(f.calibration.empty() ? (f.full_scale_v || f.kind == "frames" ? "" : phrase::not_calibrated_volts)
                              : phrase::calibration + f.calibration);
    if (!f.taken_at.empty()) add(phrase::taken + f.taken_at);
    if (f.xruns > 0) {
      view_.warnings.push_back(fmt::format(phrase::overruns, f.xruns, f.xruns == 1 ? "" : "s"));
    }
    if (f.dropped > 0)
      view_.warnings.push_back(
          fmt::format(phrase::lost, f.dropped, f.kind == "frames" ? "frames" : "samples"));
    if (f.interrupted) view_.warnings.emplace_back(phrase::ended_early);
    for (const std::string& note : f.notes) view_.notes.push_back(printable(note));
  }

  void add_mains_comb() {
    if (all_) return;
    std::size_t shown = 0;
    std::map<std::string, std::vector<const Reading*>> by_channel;
    for (const Reading& r : document_.readings) {
      if (r.measured() && is_harmonic(r) && std::holds_alternative<double>(r.value)) {
        by_channel[split(r.id, names_).channel].push_back(&r);
      }
    }
    for (auto& [channel, list] : by_channel) {
      std::stable_sort(list.begin(), list.end(),
                       [](const Reading* a, const Reading* b) { return a->number() > b->number(); });
      std::string line;
      for (std::size_t i = 0; i < std::min<std::size_t>(list.size(), 4); ++i, ++shown) {
        const std::string base = split(list[i]->id, names_).base;
        line += fmt::format("{}{} {:.1f}", i > 0 ? ", " : "", base.substr(base.rfind('.') + 1),
                            list[i]->number());
      }
      if (!view_.mains_comb.empty()) view_.mains_comb += "; ";
      if (!channel.empty()) view_.mains_comb += channel + ": ";
      view_.mains_comb += fmt::format(phrase::comb_strongest, list.size(), line);
    }
  }

  // Channels without a signal: "left and right: all samples are zero"; empty where there is one everywhere.
  [[nodiscard]] std::string without_signal(Verdict verdict) const {
    std::vector<std::string> where;
    std::string why;
    for (const Reading& r : document_.readings) {
      if (!is_signal(r) || r.verdict != verdict || !r.measured()) continue;
      if (r.text() != "none" && verdict != Verdict::Fail) continue;
      where.push_back(split(r.id, names_).channel);
      if (why.empty()) why = printable(r.reason);
    }
    if (where.empty()) return {};
    const bool everywhere = where.size() == names_.size();
    const char* what = document_.input.signal.empty() ? phrase::none_sent : phrase::none_back;
    return fmt::format("{}{}: {}", what, everywhere ? "" : phrase::on_the + joined(where), why);
  }

  // Nothing known to be sent and nothing there: a check of noise and hum, and no more.
  [[nodiscard]] bool only_idle() const {
    bool any = false;
    for (const Reading& r : document_.readings) {
      if (!is_signal(r) || !r.measured()) continue;
      if (r.text() != "idle") return false;
      any = true;
    }
    return any && document_.input.signal.empty();
  }

  [[nodiscard]] std::string what_failed(const Problem& worst) const {
    if (const std::string none = without_signal(Verdict::Fail); !none.empty()) return none;
    return worst.fault + (worst.where.empty() ? "" : ", " + worst.where);
  }

  [[nodiscard]] std::string what_is_wanting() const {
    std::vector<std::string> labels;
    for (const std::string& id : document_.missing) {
      const std::string base = split(id, names_).base;
      const auto of_it = [&](const std::string& other) { return split(other, names_).base == base; };
      // Both sides of a pair in one.
      std::string label = label_of(std::ranges::count_if(document_.missing, of_it) > 1 ? base : id);
      if (std::ranges::find(labels, label) == labels.end()) labels.push_back(std::move(label));
    }
    if (labels.size() > 3) labels = {labels[0], labels[1], fmt::format("{} more", labels.size() - 2)};
    return joined(labels) + phrase::could_not_be;
  }

  // What disturbs a picture and passed only because this one does not show it.
  [[nodiscard]] std::string not_excluded() const {
    const Reading* pattern = find_reading(document_.readings, "picture.pattern");
    const bool live = pattern != nullptr && pattern->measured() && pattern->text() == "none";
    std::vector<std::string> labels;
    for (const char* id : {"picture.hum.level", "picture.noise.periodic.level", "picture.roll",
                           "picture.jitter", "picture.tear"}) {
      const Reading* r = find_reading(document_.readings, id);
      if (r == nullptr || !r->limit || r->measured()) continue;
      if (!judge::shown_inside(*r))
        labels.push_back(label_of(id));
      else if (live && r->id == "picture.hum.level")
        labels.emplace_back(phrase::slow_hum);
    }
    return labels.empty() ? "" : fmt::format(phrase::not_excluded, joined(labels));
  }

  void say_verdict() {
    const std::string none = without_signal(Verdict::Info);
    const auto judged = static_cast<std::size_t>(std::count_if(
        document_.readings.begin(), document_.readings.end(),
        [](const Reading& r) { return r.verdict == Verdict::Pass || r.verdict == Verdict::Fail; }));
    if (document_.limit_set.empty()) {
      view_.mark = Mark::Measured;
      view_.headline = phrase::no_limit_set;
    } else if (document_.verdict == "fail" && !view_.problems.empty()) {
      view_.mark = Mark::Fail;
      view_.headline = what_failed(view_.problems.front());
      if (view_.problems.size() > 1)
        view_.headline += fmt::format(phrase::more_out, view_.problems.size() - 1);
    } else if (document_.verdict == "incomplete") {
      view_.mark = Mark::Incomplete;
      view_.headline = what_is_wanting();
      if (judged > 0) view_.headline += phrase::rest_within;
    } else {
      view_.mark = Mark::Pass;
      view_.headline = judged == 1 ? phrase::one_within : fmt::format(phrase::all_within, judged);
      if (const auto close =
              static_cast<std::size_t>(std::ranges::count_if(document_.readings, judge::near_its_limit));
          close > 0) {
        view_.headline += judged == 1 ? phrase::one_close
                                      : fmt::format(phrase::some_close, close, close == 1 ? "its" : "their");
      }
      if (only_idle()) view_.headline += phrase::only_idle;
      view_.headline += not_excluded();
    }
    if (!none.empty()) say_no_signal(none);
    if (view_.mark != Mark::Fail) say_no_picture();
    if (view_.mark == Mark::Measured && none.empty()) say_nothing_measured();
    if (!document_.caveat.empty()) view_.headline = printable(document_.caveat) + "; " + view_.headline;
  }

  void say_no_signal(const std::string& none) {
    view_.next = phrase::check_cable;
    if (names_.size() > 1) view_.next += phrase::one_side_wired;
    if (view_.mark == Mark::Fail) {
      view_.headline += "; " + none;
    } else if (view_.mark == Mark::Incomplete) {
      view_.headline = none + phrase::there_within;
    } else {
      view_.headline = none + "; " + view_.headline;
    }
  }

  void say_no_picture() {
    for (const auto& [id, what] :
         {std::pair("video.signal", phrase::no_video), std::pair("picture.signal", phrase::no_picture)}) {
      const Reading* signal = find_reading(document_.readings, id);
      if (signal != nullptr && signal->measured() && signal->text() == "none")
        view_.headline = what + printable(signal->reason) + "; " + view_.headline;
    }
  }

  void say_nothing_measured() {
    const auto& all = document_.readings;
    if (all.empty() || std::any_of(all.begin(), all.end(), [](const Reading& r) { return r.measured(); }))
      return;
    view_.headline = phrase::nothing_measured + printable(all.front().reason);
  }

  const Document& document_;
  bool all_;
  std::vector<std::string> names_;
  std::vector<Row> rows_;
  std::vector<std::vector<std::pair<std::string, std::string>>> gap_parts_;  // of each gap: label, channels
  View view_;
};

}  // namespace

std::string_view to_string(Mark mark) {
  switch (mark) {
    case Mark::Pass:
      return "PASS";
    case Mark::Fail:
      return "FAIL";
    case Mark::Incomplete:
      return "INCOMPLETE";
    case Mark::Measured:
      return "MEASURED";
  }
  return "MEASURED";
}

std::string finding_of(const View& view) {
  if (view.problems.empty()) return view.headline;
  const Problem& worst = view.problems.front();
  return fmt::format("{}: {} {}", view.headline, worst.label, worst.reading);
}

View make_view(const Document& document, bool all) { return Builder(document, all).build(); }

}  // namespace linebench::report
