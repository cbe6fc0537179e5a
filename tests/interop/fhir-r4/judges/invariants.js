// HL7's invariants (ElementDefinition.constraint of the R4 profiles), each evaluated by fhirpath on every
// element that it stands on, types and nested resources included.
import fhirpath from 'fhirpath';
import model from 'fhirpath/fhir-context/r4';
import { first, panel } from '../bundles.js';
import { structures } from '../definitions.js';

export const name = "HL7's invariants, by fhirpath";
export const breaks = [
  ['obs-6: a value beside dataAbsentReason', (b) => {
    first(b, (one) => one.resourceType === 'Observation' && one.valueQuantity).dataAbsentReason = { text: 'x' };
  }],
  ['qty-3: a code without its system', (b) => {
    delete first(b, (one) => one.valueQuantity).valueQuantity.system;
  }],
  ['bdl-7: a fullUrl twice', (b) => { b.entry[1].fullUrl = b.entry[0].fullUrl; }],
  ['ext-1: an extension with neither value nor extensions', (b) => {
    panel(b).extension = [{ url: 'http://hl7.org/fhir/StructureDefinition/bodySite' }];
  }],
  ['eld-16: a slice with a space in its name', (b) => {
    first(b, (one) => one.resourceType === 'StructureDefinition' && one.differential.element.some((element) => element.sliceName))
      .differential.element.find((element) => element.sliceName).sliceName = 'lot number';
  }],
  ['txt-1: a script in the narrative', (b) => {
    panel(b).text.div = '<div xmlns="http://www.w3.org/1999/xhtml"><script>x</script></div>';
  }],
];

/// Undecided: FHIRPath's answer was empty, as when two times of different precision are compared. Warnings are
/// HL7's best practices, which bind nobody; dom-6 (a narrative) is the one most often met.
export const looked = new Map();
const bump = (key) => looked.set(key, (looked.get(key) ?? 0) + 1);

// Elements by path for one StructureDefinition: {constraints, type names, contentReference}.
const shapes = new Map();
function shapeOf(type) {
  if (!shapes.has(type)) {
    const elements = new Map();
    for (const element of structures.get(type)?.snapshot.element ?? []) {
      elements.set(element.path, element);
    }
    const members = new Map();
    for (const path of elements.keys()) {
      const parent = path.slice(0, path.lastIndexOf('.'));
      if (!members.has(parent)) members.set(parent, []);
      if (path.includes('.')) members.get(parent).push(path);
    }
    shapes.set(type, { elements, members });
  }
  return shapes.get(type);
}

// The member of `path` that JSON names `member`: [element path, type], or undefined.
const found = new Map();
function memberOf(shape, path, member) {
  const key = `${path}.${member}`;
  if (found.has(key)) return found.get(key);
  let result;
  for (const candidate of shape.members.get(path) ?? []) {
    const element = shape.elements.get(candidate);
    const last = candidate.slice(candidate.lastIndexOf('.') + 1);
    if (last === member) {
      result = [candidate, element.type?.[0]?.code];
    } else if (last.endsWith('[x]') && member.startsWith(last.slice(0, -3))) {
      const type = element.type.find((one) => one.code[0].toUpperCase() + one.code.slice(1) === member.slice(last.length - 3));
      if (type) result = [candidate, type.code];
    }
    if (result) break;
  }
  found.set(key, result);
  return result;
}

const compiled = new Map();
// JavaScript refuses what other regular expressions let pass: escapes of characters that need none, and a bracket that
// was never opened (eld-16, eld-19, eld-20).
const tamed = (expression) => expression.replace(/\\\\([_@:"]|\\')/g, '$1').replace('(\\\\[x])?', '(\\\\[x\\\\])?');
function compile(path, expression) {
  const key = `${path} ${expression}`;
  if (!compiled.has(key)) {
    const from = { base: path.replace('[x]', ''), expression: tamed(expression) };
    compiled.set(key, fhirpath.compile(from, model, { traceFn: () => {}, async: false }));
  }
  return compiled.get(key);
}

// What was true of the same bytes before; only for invariants that look at nothing else, and for short bytes, since
// long ones seldom come again.
const known = new Map();

class Walk {
  problems = [];
  constructor(root) {
    this.root = root;
  }

  // All constraints of `element` on one value.
  test(element, path, value, resource, where) {
    const text = typeof value === 'object' ? JSON.stringify(value) : String(value);
    for (const constraint of element?.constraint ?? []) {
      if (!constraint.expression) continue;
      const { key, severity, expression } = constraint;
      // A primitive that stands in the JSON has a value: nothing to ask, and fhirpath answers amiss when it
      // starts from a boolean.
      if (key === 'ele-1' && typeof value !== 'object') continue;
      const local = !/%resource|%rootResource|resolve\(/.test(expression) || (key === 'ref-1' && !text.includes('"#'));
      const same = local && text.length < 4000 ? `${key} ${path} ${text}` : undefined;
      let holds = same === undefined ? undefined : known.get(same);
      if (holds === undefined) {
        try {
          const answer = compile(path, expression)(value, { resource, rootResource: this.root });
          holds = answer.length === 0 ? 'undecided' : answer.every((one) => one === true);
        } catch (error) {
          this.problems.push(`${path}: ${key} could not be evaluated: ${error.message.slice(0, 80)}`);
          continue;
        }
        if (same !== undefined) known.set(same, holds);
      }
      bump('constraints');
      if (holds === 'undecided') bump(`undecided ${key}`);
      if (holds) continue;
      if (severity === 'error') this.problems.push(`${where}: ${key} ${constraint.human}`);
      else bump(`warnings of ${key}`);
    }
  }

  // One value of `type` that stands on `path` of the shape of `owner`.
  element(owner, path, type, value, resource, where) {
    const shape = shapeOf(owner);
    const element = shape.elements.get(path);
    if (value === null || value === undefined) return;
    if (type === 'Resource' || value.resourceType) return this.resource(value, where);
    this.test(element, path, value, resource, where);
    if (typeof value !== 'object') return;
    let [inner, at] = [owner, path];
    if (element?.contentReference) {
      at = element.contentReference.slice(1);
    } else if (type !== 'BackboneElement' && type !== 'Element') {
      [inner, at] = [type, type];
      this.test(shapeOf(type).elements.get(type), type, value, resource, where);
    }
    this.members(inner, at, value, resource, where);
  }

  members(owner, path, value, resource, where) {
    for (const [name, child] of Object.entries(value)) {
      if (name === 'resourceType') continue;
      const extension = name.startsWith('_');
      const member = memberOf(shapeOf(owner), path, extension ? name.slice(1) : name);
      if (!member) {
        this.problems.push(`${where}.${name}: no such element in ${path}`);
        continue;
      }
      const [childPath, type] = extension ? ['Element', 'Element'] : member;
      const each = (one, at) => this.element(extension ? 'Element' : owner, childPath, type, one, resource, at);
      if (Array.isArray(child)) child.forEach((one, index) => each(one, `${where}.${name}[${index}]`));
      else each(child, `${where}.${name}`);
    }
  }

  resource(resource, where) {
    const type = resource.resourceType;
    const shape = shapeOf(type);
    if (!structures.has(type)) return this.problems.push(`${where}: unknown type ${type}`);
    const root = this.root;
    if (type !== 'Bundle' && root.resourceType === 'Bundle') this.root = resource;
    this.test(shape.elements.get(type), type, resource, resource, where);
    this.members(type, type, resource, resource, where);
    this.root = root;
  }
}

export function judge({ json }) {
  known.size > 400000 && known.clear();
  const walk = new Walk(json);
  walk.resource(json, json.resourceType);
  return walk.problems;
}
