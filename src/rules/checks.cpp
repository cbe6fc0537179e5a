// The list of rules on one record, in the order in which their findings are told.
#include "rules/rules.hpp"
#include "rules/visit.hpp"

namespace charpie::rules {

namespace {

using Rule = void (*)(Visit&);
constexpr Rule rules[] = {check_codes_and_units, check_times, check_size, check_wound,
                          check_closure,         check_care,  check_plan};

}  // namespace

struct RecordChecks::State {
  State(const RuleBook& book, const CheckOptions& asked)
      : as_of(asked.as_of), options{as_of, asked.derive}, memory(book), visit(book, memory, options) {}
  std::string as_of;
  CheckOptions options;
  UnitMemory memory;
  Visit visit;
};

RecordChecks::RecordChecks(const RuleBook& book, const CheckOptions& options)
    : state_(std::make_unique<State>(book, options)) {}
RecordChecks::RecordChecks(RecordChecks&&) noexcept = default;
RecordChecks::~RecordChecks() = default;

void RecordChecks::check(const record::Record& record, record::Findings& findings) {
  if (record.root == nullptr) return;
  auto& visit = state_->visit;
  visit.begin(record, findings);
  for (const auto rule : rules) rule(visit);
  if (state_->options.derive) derive_measures(visit);
}

}  // namespace charpie::rules
