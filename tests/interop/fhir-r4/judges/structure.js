// Structure (names, cardinalities, types, fixed values) against HL7's StructureDefinitions, by @medplum/core.
import { indexStructureDefinitionBundle, OperationOutcomeError, validateResource } from '@medplum/core';
import { panel, resourcesOf } from '../bundles.js';
import { resources, types } from '../definitions.js';

indexStructureDefinitionBundle(types);
indexStructureDefinitionBundle(resources);

export const name = 'structure, by Medplum';
export const breaks = [
  ['an Observation without code', (b) => { delete panel(b).code; }],
  ['a list where one belongs', (b) => { panel(b).subject = [panel(b).subject]; }],
  ['a date that is none', (b) => { panel(b).effectiveDateTime = '2026-3-1'; }],
];
/// Warnings: most of them that a urn:uuid is no reference to a type that it could check.
export const looked = new Map();

export function judge({ json }) {
  looked.set('resources', (looked.get('resources') ?? 0) + resourcesOf(json).length);
  let issues;
  try {
    issues = validateResource(json);
  } catch (error) {
    if (!(error instanceof OperationOutcomeError)) throw error;
    issues = error.outcome.issue;
  }
  const problems = [];
  for (const issue of issues) {
    if (issue.severity === 'error' || issue.severity === 'fatal') {
      problems.push(`${(issue.expression ?? []).join(', ')}: ${issue.details?.text ?? issue.diagnostics}`);
    } else {
      looked.set('warnings', (looked.get('warnings') ?? 0) + 1);
    }
  }
  return problems;
}
