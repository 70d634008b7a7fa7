// The diagnosis for a person: as text for a terminal, as a section of the page, and as JSON of the contract.
#pragma once

#include <linebench/diagnose/compare.hpp>
#include <linebench/diagnose/diagnose.hpp>
#include <linebench/report/terminal.hpp>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

namespace linebench::report {

/// "findings" of the contract: [{fault, label, probability, evidence, next_test, remedy, caution, ...}].
/// `evidence` is a list of {reading, text, supports, weight}: weight in decibans (10 lg of how much likelier
/// the reading is with the fault than with nothing wrong), negative against.
[[nodiscard]] nlohmann::json findings_to_json(const diagnose::Diagnosis& diagnosis);
/// What keeps the job from being called sound: [{view, reading, share, text, how}].
[[nodiscard]] nlohmann::json gaps_to_json(const diagnose::Diagnosis& diagnosis);
[[nodiscard]] nlohmann::json next_test_to_json(const diagnose::NextTest& test);

/// "pass" (nothing wrong is likeliest, and enough was shown), "fail" (a fault is likelier than not) or
/// "incomplete".
[[nodiscard]] std::string diagnosis_verdict(const diagnose::Diagnosis& diagnosis);

/// The cure, or why it waits: a trial of the fault's own came out against it.
[[nodiscard]] std::string cure_of(const diagnose::Finding& finding);

/// Where nothing wrong is likelier than this, what speaks against it is said.
inline constexpr double may_be_sound = 0.2;

/// The diagnosis in one line: "Earth loop through an audio shield is likely (93 %)".
[[nodiscard]] std::string diagnosis_headline(const diagnose::Diagnosis& diagnosis);

/// @param notes whole sentences for a person (entries of the book left out and so on).
[[nodiscard]] std::string diagnosis_table(const diagnose::Diagnosis& diagnosis,
                                          const std::vector<std::string>& notes, const TerminalStyle& style);
/// A section of the page (at most two sheets of paper): ranked bars, evidence, what to do next.
[[nodiscard]] std::string diagnosis_section(const diagnose::Diagnosis& diagnosis,
                                            const std::vector<std::string>& notes);

/// The whole chain of one fault. @param entry its entry in the book.
[[nodiscard]] std::string explanation_text(const diagnose::Explanation& explanation,
                                           const diagnose::Fault& entry, const diagnose::FaultBook& book,
                                           const TerminalStyle& style);

[[nodiscard]] nlohmann::json explanation_to_json(const diagnose::Explanation& explanation,
                                                 const diagnose::Fault& entry);  ///< the same
/// Faults, and what can be observed with how it is typed.
[[nodiscard]] nlohmann::json book_to_json(const diagnose::FaultBook& book);

/// What changed, surest first, and how much stayed (with style.all each of those too).
[[nodiscard]] std::string changes_text(const diagnose::Comparison& comparison, const TerminalStyle& style);
[[nodiscard]] std::string comparison_table(const diagnose::Comparison& comparison,
                                           const TerminalStyle& style);
[[nodiscard]] nlohmann::json comparison_to_json(const diagnose::Comparison& comparison);

}  // namespace linebench::report
