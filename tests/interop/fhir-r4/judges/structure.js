// Structure (names, cardinalities, types, fixed values) against HL7's StructureDefinitions, by @medplum/core.
import { indexStructureDefinitionBundle, OperationOutcomeError, validateResource } from '@medplum/core';
import { resourcesOf } from '../bundles.js';
import { resources, types } from '../definitions.js';

indexStructureDefinitionBundle(types);
indexStructureDefinitionBundle(resources);

export const name = 'structure, by Medplum';
/// Warnings, most of them that a urn:uuid is no reference to a type that it could check.
export const warnings = new Map();
export const breaks = [
  ['an Observation without code', (b) => { delete b.entry[0].resource.code; }],
  ['a list where one belongs', (b) => { b.entry[0].resource.subject = [b.entry[0].resource.subject]; }],
  ['a date that is none', (b) => { b.entry[0].resource.effectiveDateTime = '2026-3-1'; }],
];

export function judge({ json }) {
  const problems = [];
  const collect = (resource, issues) => {
    for (const issue of issues) {
      if (issue.severity === 'error' || issue.severity === 'fatal') problems.push(told(resource, issue));
      else warnings.set('structure', (warnings.get('structure') ?? 0) + 1);
    }
  };
  const one = (resource) => {
    try {
      collect(resource, validateResource(resource));
    } catch (error) {
      if (!(error instanceof OperationOutcomeError)) throw error;
      collect(resource, error.outcome.issue);
    }
  };
  if (json.resourceType === 'Bundle') one({ ...json, entry: json.entry.map(({ resource, ...entry }) => entry) });
  for (const resource of resourcesOf(json)) one(resource);
  return problems;
}

const told = (resource, issue) =>
  `${resource.resourceType} ${(issue.expression ?? []).join(', ')}: ${issue.details?.text ?? issue.diagnostics}`;
