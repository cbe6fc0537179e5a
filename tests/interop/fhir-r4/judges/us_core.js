// US Core 9.0.0, shape of us-core-observation-clinical-result and us-core-procedure, and bindings that matter
// here. No npm package carries these profiles: this table of ours was written from the published guide
// (HL7/US-Core 9.0.0, StructureDefinitions us-core-observation-clinical-result and us-core-procedure).
import { first, panel, resourcesOf } from '../bundles.js';

export const name = 'US Core 9 shape (own table)';
export const breaks = [
  ['a finding without category', (b) => { delete panel(b).category; }],
  ['an effective time of a month', (b) => {
    first(b, (r) => r.effectiveDateTime?.length > 10 && !r.hasMember).effectiveDateTime = '2026-03';
  }],
  ['a finding without subject', (b) => { delete panel(b).subject; }],
  ['neither value nor reason', (b) => {
    const one = first(b, (r) => r.valueCodeableConcept && !r.component && !r.hasMember);
    delete one.valueCodeableConcept;
  }],
  ['a quantity in no unit system', (b) => {
    first(b, (r) => r.resourceType === 'Observation' && r.valueQuantity).valueQuantity.system = 'http://units.example';
  }],
  ['a completed procedure without its time', (b) => {
    const one = first(b, (r) => r.resourceType === 'Procedure' && r.status === 'completed');
    delete one.performedPeriod;
    delete one.performedDateTime;
  }],
];
export const looked = new Map();

const table = {
  Observation: [
    ['status', (r) => r.status !== undefined],
    ['category exam', (r) => (r.category ?? []).some((category) => (category.coding ?? []).some((coding) =>
      coding.system === 'http://terminology.hl7.org/CodeSystem/observation-category' && coding.code === 'exam'))],
    ['code', (r) => r.code !== undefined],
    ['subject', (r) => r.subject !== undefined],
    ['us-core-1: effective at least to the day', (r) =>
      r.effectiveDateTime === undefined || r.effectiveDateTime.length >= 10],
    ['us-core-2: value or dataAbsentReason unless component or hasMember', (r) =>
      r.component !== undefined || r.hasMember !== undefined || r.dataAbsentReason !== undefined ||
      Object.keys(r).some((member) => member.startsWith('value'))],
    ['us-core-3: Quantity.system is UCUM', (r) =>
      (r.valueQuantity?.system ?? 'http://unitsofmeasure.org') === 'http://unitsofmeasure.org'],
  ],
  Procedure: [
    ['status', (r) => r.status !== undefined],
    ['code', (r) => r.code !== undefined],
    ['subject', (r) => r.subject !== undefined],
    ['us-core-7: performed when completed or in progress', (r) =>
      !['completed', 'in-progress'].includes(r.status) ||
      Object.keys(r).some((member) => member.replace('_', '').startsWith('performed') && member !== 'performer')],
  ],
};

// A visit that was charted to a month or a year is less than US Core wants, and cannot claim it: nothing is added
// to what was charted, so the rule on the time is not asked of such a visit.
export function judge({ json }) {
  const problems = [];
  const vague = resourcesOf(json).some((one) => one.hasMember && one.effectiveDateTime?.length < 10);
  for (const resource of resourcesOf(json)) {
    for (const [rule, holds] of table[resource.resourceType] ?? []) {
      if (vague && rule.startsWith('us-core-1:')) continue;
      looked.set('rules', (looked.get('rules') ?? 0) + 1);
      if (!holds(resource)) problems.push(`${resource.resourceType} ${resource.code?.coding?.at(-1).code}: ${rule}`);
    }
  }
  return problems;
}
