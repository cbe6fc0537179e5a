// References: a urn:uuid is the fullUrl of one entry of the same Bundle, and what it leads to (or the resource
// type that a search URI or Reference.type names) is of a type that HL7's definitions let stand there.
import { elementAt, extensionByUrl } from '../definitions.js';
import { first, resourcesOf, walk } from '../bundles.js';

export const name = 'references: whole, of allowed types';
export const breaks = [
  ['a member that is not in the Bundle', (b) => {
    first(b, (one) => one.hasMember).hasMember[0] = { reference: 'urn:uuid:00000000-0000-5000-8000-000000000000' };
  }],
  ['an Observation where a Procedure belongs', (b) => {
    const observation = b.entry.find(({ resource }) => resource.resourceType === 'Observation');
    first(b, (one) => one.resourceType === 'Observation' && one.partOf).partOf = [{ reference: observation.fullUrl }];
  }],
  ['a body structure extension that leads to a Procedure', (b) => {
    const procedure = b.entry.find(({ resource }) => resource.resourceType === 'Procedure');
    first(b, (one) => one.extension?.some((e) => e.valueReference?.reference))
      .extension.find((e) => e.valueReference?.reference).valueReference.reference = procedure.fullUrl;
  }],
  ['a patient named as an organization', (b) => {
    first(b, (one) => one.subject).subject = { type: 'Organization', display: 'x' };
  }],
];
export const looked = new Map();
const bump = (kind) => looked.set(kind, (looked.get(kind) ?? 0) + 1);

export function judge({ json }) {
  const problems = [];
  const entries = new Map((json.entry ?? []).map(({ fullUrl, resource }) => [fullUrl, resource.resourceType]));
  for (const resource of resourcesOf(json)) {
    let extension;
    walk(resource, (value, place, member) => {
      if (value === null || typeof value !== 'object' || Array.isArray(value)) return;
      if (member === 'extension') extension = value;
      const of = member === 'valueReference' && place.includes('.extension[') ? valueOf(extension) : elementAt(place);
      if (of.code !== 'Reference') return;
      bump('references');
      const { reference, type } = value;
      let target = type;
      if (reference?.startsWith('urn:uuid:')) {
        target = entries.get(reference);
        if (!target) return problems.push(`${place}: no entry has the fullUrl of this reference`);
      } else if (reference) {
        target = reference.split(/[?/]/)[0];
      }
      if (type && target !== type) problems.push(`${place}: the type says ${type}, the reference leads to ${target}`);
      const profiles = of.definition?.type.find((one) => one.code === 'Reference')?.targetProfile ?? [];
      const allowed = profiles.map((url) => url.slice(url.lastIndexOf('/') + 1));
      if (target === undefined) return bump('of no stated type');
      if (allowed.length === 0 || allowed.includes('Resource')) return bump('to any type');
      if (!allowed.includes(target)) problems.push(`${place}: leads to ${target}, where ${allowed.join(', ')} may stand`);
    });
  }
  return problems;
}

// What HL7 defines for the value of an extension; nothing for one of our own.
function valueOf({ url }) {
  const elements = extensionByUrl.get(url)?.snapshot.element ?? [];
  return { code: 'Reference', definition: elements.find((one) => one.path === 'Extension.value[x]') };
}
