// The diagnosis as JSON and as text.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <iterator>
#include <linebench/report/findings.hpp>
#include <linebench/report/format.hpp>
#include <nlohmann/json.hpp>

#include "findings_words.hpp"
#include "phrases.hpp"

namespace linebench::report {
namespace {

using diagnose::Bearing;
using diagnose::Diagnosis;
using diagnose::Finding;
using nlohmann::json;

constexpr std::size_t pieces_shown = 6;
constexpr double worth_a_paragraph = 0.1;  // less likely faults get a line
constexpr double worth_a_headline = 0.2;

// Divided at the end where it can be, so that what is printed is short: 0.1 is no binary number.
double rounded(double v, double step) {
  const double steps = std::round(v / step);
  return step < 1 ? steps / std::round(1 / step) : steps * step;
}

json bearing_json(const Bearing& b) {
  return {{"reading", b.sign},
          {"text", b.text},
          {"supports", b.nats > 0},
          {"weight", rounded(decibans(b.nats), 0.1)}};
}

class Text {
 public:
  explicit Text(const TerminalStyle& style) : style_(style), width_(std::max<std::size_t>(style.width, 40)) {}
  void block(const std::string& text, std::size_t indent, const std::string& first) {
    out_ += wrapped(printable(text), width_, indent, first);
  }
  void line(const std::string& text = {}) { out_ += text + "\n"; }
  void title(const std::string& text) {
    line();
    line(style_.colour ? "\x1b[1m" + text + "\x1b[0m" : text);
  }
  [[nodiscard]] std::string bar(double share) const {
    const auto full = static_cast<std::size_t>(std::lround(12 * std::clamp(share, 0.0, 1.0)));
    std::string s;
    for (std::size_t i = 0; i < 12; ++i)
      s += i < full ? (style_.unicode ? "\u2588" : "#") : (style_.unicode ? "\u2591" : ".");
    return s;
  }
  [[nodiscard]] std::string finish() const { return style_.unicode ? out_ : to_ascii(out_); }

  const TerminalStyle style_;

 private:
  std::size_t width_;
  std::string out_;
};

void test_lines(Text& t, const diagnose::NextTest& test, const std::string& first) {
  t.block(fmt::format("{}{} ({})", test.again ? phrase::once_more : "", test.how, show_effort(test)), 9,
          first);
  if (!test.caution.empty()) t.block(test.caution, 9, std::string(9, ' ') + phrase::caution_loud);
  if (!test.notation.empty())
    t.block(fmt::format("{}\"{}\"{}", phrase::then_tell, test.notation, test.again ? phrase::or_again : ""),
            9, "         ");
}

void finding_head(Text& t, const Finding& f, std::size_t place) {
  t.line();
  t.block(fmt::format("{} {}", t.bar(f.probability), f.label), 20,
          fmt::format("{}. {:>5} ", place, show_probability(f.probability)));
}

void finding_lines(Text& t, const Finding& f, std::size_t place) {
  finding_head(t, f, place);
  t.block(f.what, 3, "   ");
  if (!f.usually_with.empty()) t.block(phrase::mostly_with + f.usually_with, 9, "   ");
  const auto pieces = [&](const std::vector<Bearing>& list, const char* word) {
    for (std::size_t i = 0; i < std::min(list.size(), pieces_shown); ++i)
      t.block(list[i].text, 9, i == 0 ? fmt::format("   {:<6}", word) : "         ");
    if (list.size() > pieces_shown)
      t.block(fmt::format(phrase::and_more, list.size() - pieces_shown, f.fault), 9, "         ");
  };
  pieces(f.evidence_for, phrase::piece_for);
  pieces(touched_against(f), phrase::piece_against);
  if (const std::string left = left_unexplained(f); !left.empty())
    t.block(phrase::not_by_it + left, 9, fmt::format("   {:<6}", phrase::piece_left));
  if (f.next_test) test_lines(t, *f.next_test, std::string(3, ' ') + phrase::test);
  t.block(f.tell_apart, 9, std::string(3, ' ') + phrase::tell);
  t.block(cure_of(f), 9, std::string(3, ' ') + phrase::cure);
  if (!f.caution.empty()) t.block(f.caution, 9, std::string(9, ' ') + phrase::caution_loud);
}

}  // namespace

std::string show_probability(double p) {
  if (p > 0.995 && p < 1) return ">99 %";
  if (p < 0.005) return "<1 %";
  return fmt::format("{:.0f} %", 100 * p);
}

std::string show_minutes(double minutes) {
  return minutes < 1 ? phrase::under_a_minute : fmt::format("{:.0f} min", minutes);
}

std::string show_effort(const diagnose::NextTest& t) {
  constexpr double most = 0.5;
  constexpr double much = 0.2;
  const std::string minutes = show_minutes(t.minutes);
  return t.settles >= most   ? minutes + phrase::settles_most
         : t.settles >= much ? minutes + phrase::settles_much
                             : minutes;
}

std::string cure_of(const Finding& f) {
  return f.held.empty() ? f.remedy : fmt::format(phrase::not_yet, f.held);
}

std::vector<Bearing> touched_against(const Finding& f) {
  std::vector<Bearing> out;
  std::ranges::copy_if(f.evidence_against, std::back_inserter(out), &Bearing::touched);
  return out;
}

std::string left_unexplained(const Finding& f) {
  std::string out;
  for (const Bearing& b : f.evidence_against) {
    if (!b.touched) out += (out.empty() ? "" : "; ") + b.label;
  }
  return out;
}

double decibans(double nats) { return 10 * nats / std::log(10.0); }

json next_test_to_json(const diagnose::NextTest& t) {
  json j = {{"id", t.id},
            {"label", t.label},
            {"how", t.how},
            {"minutes", t.minutes},
            {"bits", rounded(t.bits, 0.001)},
            {"settles", rounded(t.settles, 0.01)}};
  if (!t.caution.empty()) j["caution"] = t.caution;
  if (!t.notation.empty()) j["observed"] = t.notation;
  if (t.again) j["again"] = true;
  return j;
}

json gaps_to_json(const Diagnosis& d) {
  json out = json::array();
  for (const diagnose::Gap& g : d.gaps)
    out.push_back({{"view", g.view},
                   {"reading", g.sign},
                   {"share", rounded(g.share, 0.01)},
                   {"text", g.text},
                   {"how", g.how}});
  return out;
}

json findings_to_json(const Diagnosis& d) {
  json out = json::array();
  for (const Finding& f : d.findings) {
    json evidence = json::array();
    for (const Bearing& b : f.evidence_for) evidence.push_back(bearing_json(b));
    for (const Bearing& b : f.evidence_against) evidence.push_back(bearing_json(b));
    json j = {{"fault", f.fault},
              {"label", f.label},
              {"group", f.group},
              {"what", f.what},
              {"probability", rounded(f.probability, 1e-6)},
              {"evidence", evidence},
              {"remedy", f.remedy},
              {"caution", f.caution},
              {"tell_apart", f.tell_apart},
              {"source", f.source}};
    j["next_test"] = f.next_test ? next_test_to_json(*f.next_test) : json(nullptr);
    if (!f.usually_with.empty()) j["usually_with"] = f.usually_with;
    if (!f.held.empty()) j["held"] = f.held;
    out.push_back(std::move(j));
  }
  return out;
}

namespace {

// A capture by which nothing came in says more than that the others, or none, show no fault.
bool silence_speaks(const Diagnosis& d) {
  return !d.silent.empty() && (diagnose::shown_sound(d) || d.signs_used == 0);
}

}  // namespace

std::string diagnosis_verdict(const Diagnosis& d) {
  if (silence_speaks(d)) return "incomplete";
  if (diagnose::shown_sound(d)) return "pass";
  const bool stands = !d.findings.empty() && d.findings.front().probability > 0.5;
  return stands && d.findings.front().held.empty() ? "fail" : "incomplete";
}

std::string diagnosis_headline(const Diagnosis& d) {
  if (silence_speaks(d)) return fmt::format(phrase::nothing_came_by, fmt::join(d.silent, ", "));
  if (diagnose::shown_sound(d))
    return fmt::format(phrase::most_likely_nothing, show_probability(d.nothing_wrong));
  if (d.unlisted > 0.5) return fmt::format(phrase::not_in_book, show_probability(d.unlisted));
  const bool stands = !d.findings.empty() && d.findings.front().probability >= worth_a_headline &&
                      d.findings.front().probability > std::max(d.nothing_wrong, d.unlisted);
  if (!stands && d.nothing_wrong >= d.unlisted && d.gaps.empty() && !d.unsettled.empty())
    return fmt::format(phrase::only_observed, show_probability(d.nothing_wrong));
  if (!stands && d.nothing_wrong >= d.unlisted && d.gaps.empty() && !d.out_of_limits.empty())
    return fmt::format(phrase::only_limits, show_probability(d.nothing_wrong));
  if (!stands && d.nothing_wrong >= d.unlisted)
    return fmt::format(phrase::too_little, show_probability(d.nothing_wrong));
  if (!stands) return fmt::format(phrase::none_stands_out, show_probability(d.unlisted));
  const Finding& f = d.findings.front();
  const char* word = f.probability > 0.9   ? phrase::all_but_certain
                     : f.probability > 0.5 ? phrase::likely
                                           : phrase::best_guess;
  const std::string found = fmt::format("{} {} ({})", f.label, word, show_probability(f.probability));
  return f.held.empty() ? found : fmt::format(phrase::but_held, found, f.held);
}

std::string cures_caution(const Diagnosis& d) {
  const std::string caution = d.findings.empty() ? "" : d.findings.front().caution;
  return std::ranges::find(d.cautions, caution) == d.cautions.end() ? caution : "";
}

std::vector<std::string> left_open(const Diagnosis& d) {
  std::vector<std::string> out;
  if (d.nothing_wrong <= may_be_sound) return out;
  for (const diagnose::Gap& g : d.gaps) out.push_back(g.text + ".");
  for (const std::string& u : d.unsettled) out.push_back(u + ".");
  for (const std::string& o : d.out_of_limits) out.push_back(o + ".");
  return out;
}

std::string cure_first(const Diagnosis& d) {
  if (!d.first_step.empty()) return d.first_step;
  const bool certain =
      !d.findings.empty() && d.findings.front().probability >= 0.9 && d.findings.front().held.empty();
  return certain && !d.next_test ? d.findings.front().remedy : "";
}

std::string diagnosis_table(const Diagnosis& d, const std::vector<std::string>& notes,
                            const TerminalStyle& style) {
  Text t(style);
  const std::string verdict = diagnosis_verdict(d);
  const std::string word = verdict == "pass"   ? phrase::sound
                           : verdict == "fail" ? phrase::fault
                                               : phrase::open_verdict;
  t.block(diagnosis_headline(d), word.size() + 2, word + ": ");
  t.block(fmt::format(phrase::from_signs, d.signs_used, d.signs_used == 1 ? "" : "s",
                      show_probability(d.nothing_wrong), show_probability(d.unlisted)),
          0, "");
  for (const std::string& open : left_open(d)) t.block(open, 6, phrase::note);
  for (const std::string& n : notes) t.block(n, 6, phrase::note);
  const std::string cure = cure_first(d);
  if (d.next_test || !cure.empty() || !d.cautions.empty()) t.title(phrase::do_next);
  for (const std::string& c : d.cautions) t.block(c, 9, std::string(9, ' ') + phrase::caution_loud);
  if (d.next_test) {
    test_lines(t, *d.next_test, "         ");
  } else if (!cure.empty()) {
    t.block(cure, 9, "         ");
    if (const std::string caution = cures_caution(d); !caution.empty())
      t.block(caution, 9, std::string(9, ' ') + phrase::caution_loud);
  }
  if (!d.findings.empty()) t.title(phrase::likeliest_faults);
  for (std::size_t i = 0; i < d.findings.size(); ++i) {
    if (i == 0 || style.all || d.findings[i].probability >= worth_a_paragraph) {
      finding_lines(t, d.findings[i], i + 1);
    } else {
      finding_head(t, d.findings[i], i + 1);
    }
  }
  t.line();
  t.block(phrase::how_worked_out, 0, "");
  return t.finish();
}

std::string explanation_text(const diagnose::Explanation& e, const diagnose::Fault& f,
                             const diagnose::FaultBook& book, const TerminalStyle& style) {
  Text t(style);
  t.block(fmt::format("{} ({})", f.label, f.id), 2, "");
  t.block(f.what, 2, "  ");
  const double odds = e.prior / (1 - e.prior);
  t.block(fmt::format(phrase::before_evidence, 100 * e.prior, odds), 2, "  ");
  t.block(fmt::format(phrase::shows_in, fmt::join(f.views, ", "),
                      f.detection_text.empty() ? phrase::see_effects : f.detection_text),
          2, "  ");
  if (!e.all.empty()) {
    t.title(phrase::evidence_each);
    std::string aside;
    bool odd = false;
    for (const Bearing& b : e.all) {
      odd = odd || (!b.touched && b.nats < 0);
      if (b.touched) {
        t.block(b.text, 13, fmt::format("  {:>9}  ", show_times(b.nats)));
      } else {
        aside += (aside.empty() ? "" : ", ") + b.label;
      }
    }
    t.block(phrase::evidence_all, 13, fmt::format("  {:>9}  ", show_times(e.nats)));
    if (!aside.empty()) t.block(phrase::does_nothing_to + aside + ".", 2, "  ");
    if (odd) {
      t.title(phrase::odd);
      for (const Bearing& b : e.all) {
        if (!b.touched && b.nats < 0) t.block(b.text, 4, "  ");
      }
    }
    t.title(phrase::sum);
    t.block(fmt::format(phrase::sum_line, odds, show_times(e.nats)), 2, "  ");
    for (const diagnose::Term& x : e.sum)
      t.block(fmt::format("{:>7}  {}", show_probability(x.probability), x.what), 22,
              fmt::format("  {:>9}  ", show_weight(x.log_weight)));
    t.block(fmt::format(phrase::after_evidence, show_probability(e.probability),
                        e.variant.empty() ? "" : phrase::likeliest_way + e.variant + ".", 100 * e.severity),
            2, "  ");
    t.title(phrase::beside_it);
    for (const Bearing& r : e.rivals)
      t.block(fmt::format("{} ({})", r.label, r.sign), 11, fmt::format("  {:>7}  ", r.text));
  }
  t.title(phrase::what_tells_apart);
  t.block(f.tell_apart, 2, "  ");
  if (const diagnose::Sign* test = book.sign(f.test); test != nullptr && test->trial) {
    t.block(fmt::format("{} ({}); --observed \"{}\"", test->trial->how, show_minutes(test->trial->minutes),
                        notation_of(*test)),
            8, std::string(2, ' ') + phrase::test);
    if (!test->trial->caution.empty())
      t.block(test->trial->caution, 8, std::string(8, ' ') + phrase::caution_loud);
  }
  t.title(phrase::cure_title);
  t.block(f.remedy, 2, "  ");
  if (!f.caution.empty()) t.block(f.caution, 2, std::string(2, ' ') + phrase::caution_loud);
  t.block(phrase::source + f.source, 2, "  ");
  return t.finish();
}

std::string show_times(double nats) {
  const double times = std::exp(std::abs(nats));
  if (times < 1.005) return "1";
  std::string n = times >= 1e4 ? fmt::format("10^{:.2f}", std::abs(nats) / std::log(10.0))
                               : fmt::format("{:.{}f}", times, times < 10 ? 2 : 0);
  return nats > 0 ? "x" + n : "/" + n;
}

std::string show_weight(double log_weight) {
  const double w = std::exp(log_weight);
  return w >= 1e4 || w < 1e-4 ? fmt::format("10^{:.2f}", log_weight / std::log(10.0))
                              : fmt::format("{:.4g}", w);
}

namespace {

json bearings_json(const std::vector<Bearing>& list) {
  json out = json::array();
  for (const Bearing& b : list) {
    json j = bearing_json(b);
    j["touched"] = b.touched;
    out.push_back(std::move(j));
  }
  return out;
}

}  // namespace

json explanation_to_json(const diagnose::Explanation& e, const diagnose::Fault& f) {
  json sum = json::array();
  for (const diagnose::Term& x : e.sum)
    sum.push_back({{"what", x.what},
                   {"log10_weight", rounded(x.log_weight / std::log(10.0), 1e-4)},
                   {"probability", rounded(x.probability, 1e-6)}});
  json rivals = json::array();
  for (const Bearing& r : e.rivals)
    rivals.push_back({{"fault", r.sign}, {"label", r.label}, {"text", r.text}});
  return {{"fault", e.fault},
          {"label", e.label},
          {"what", f.what},
          {"prior", e.prior},
          {"probability", rounded(e.probability, 1e-6)},
          {"log10_likelihood_ratio", rounded(e.nats / std::log(10.0), 1e-4)},
          {"severity", rounded(e.severity, 1e-3)},
          {"variant", e.variant},
          {"evidence", bearings_json(e.all)},
          {"sum", sum},
          {"rivals", rivals},
          {"tell_apart", f.tell_apart},
          {"remedy", f.remedy},
          {"caution", f.caution},
          {"source", f.source}};
}

json book_to_json(const diagnose::FaultBook& book) {
  json faults = json::array();
  for (const diagnose::Fault& f : book.faults)
    faults.push_back({{"fault", f.id}, {"label", f.label}, {"group", f.group}, {"prior", f.prior}});
  json observable = json::array();
  for (const diagnose::Sign& s : book.signs) {
    if (!s.trial) continue;
    observable.push_back({{"id", s.id},
                          {"label", s.label},
                          {"how", s.trial->how},
                          {"caution", s.trial->caution},
                          {"minutes", s.trial->minutes},
                          {"observed", diagnose::notation_of(s)}});
  }
  return {{"faults", faults}, {"observable", observable}, {"notes", book.problems}};
}

}  // namespace linebench::report
