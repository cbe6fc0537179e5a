// Seeded faults in HL7's R4 examples: what strict reading finds beside three judges from outside (JSON schema,
// Medplum's structure, HL7's invariants by fhirpath; tests/interop/fhir-r4/judges).
//
//   node faults.mjs BUILD [COUNT] [SEED]      BUILD holds tests/interop_strict; needs npm ci here and in ../fhir-r4
//
// Prints a row a kind of fault, and every fault that a judge finds and strict reading does not. Exit 1 if there is one.
import { execFileSync } from 'node:child_process';
import { mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import * as structure from '../fhir-r4/judges/structure.js';
import * as schema from '../fhir-r4/judges/json_schema.js';
import * as invariants from '../fhir-r4/judges/invariants.js';

const here = dirname(fileURLToPath(import.meta.url));
const [build, count = '400', seed = '1'] = process.argv.slice(2);
const examples = join(here, 'node_modules/hl7.fhir.r4.examples');
const judges = { schema, structure, invariants };

// A small generator of our own: the same seed, the same faults (32-bit xorshift).
let state = Number(seed) * 2654435761 >>> 0 || 1;
function below(limit) {
  state ^= state << 13;
  state >>>= 0;
  state ^= state >>> 17;
  state ^= state << 5;
  state >>>= 0;
  return state % limit;
}
const pick = (list) => list[below(list.length)];

// Every place of an instance: [owner, name, value].
function places(node, into = []) {
  for (const [name, value] of Object.entries(node)) {
    into.push([node, name, value]);
    if (value !== null && typeof value === 'object') places(value, into);
  }
  return into;
}
const some = (instance, fits) => {
  const found = places(instance).filter(([owner, name, value]) => name !== 'resourceType' && fits(value, name, owner));
  return found.length ? pick(found) : undefined;
};
const at = (instance, fits, change) => {
  const place = some(instance, fits);
  if (!place) return false;
  change(...place);
  return true;
};
const isObject = (value) => value !== null && typeof value === 'object' && !Array.isArray(value);
const set = (to) => (owner, name, value) => { owner[name] = typeof to === 'function' ? to(value) : to; };

// Each changes the instance in place and says whether it could.
const kinds = {
  'a member taken out': (one) => at(one, (v, n, o) => !Array.isArray(o), (o, n) => { delete o[n]; }),
  'a member renamed': (one) => at(one, (v, n, o) => !Array.isArray(o), (o, n, v) => { delete o[n]; o[`${n}X`] = v; }),
  'text in place of a number': (one) => at(one, (v) => typeof v === 'number', set(String)),
  'a number in place of text': (one) => at(one, (v) => typeof v === 'string', set(7)),
  'text in place of an object': (one) => at(one, isObject, set('x')),
  'a list around one value': (one) => at(one, (v, n, o) => !Array.isArray(v) && !Array.isArray(o), set((v) => [v])),
  'one value out of its list': (one) => at(one, Array.isArray, set((v) => v[0])),
  'an empty text': (one) => at(one, (v) => typeof v === 'string', set('')),
  'an empty object': (one) => at(one, isObject, set(() => ({}))),
  'an empty list': (one) => at(one, Array.isArray, set(() => [])),
  'null': (one) => at(one, () => true, set(null)),
  'a code of no value set': (one) => at(one, (v, n) => typeof v === 'string' && /^(status|intent|gender|use|mode|comparator|linkId|priority)$/.test(n), set('nonsense')),
  'a date that is none': (one) => at(one, (v) => typeof v === 'string' && /^\d{4}-\d\d(-\d\d)?/.test(v), set((v) => pick([v.replace(/^(\d{4})-\d\d/, '$1-13'), v.replace(/^(\d{4})-0/, '$1-'), `${v.slice(0, 10)}T10:00`, `${v.slice(0, 10)}T25:00:00Z`, 'yesterday']))),
  'an id that is none': (one) => at(one, (v, n, o) => n === 'id' && o.resourceType, set((v) => pick([`${v}_1`, 'a b', 'x'.repeat(65)]))),
  'a reference to a wrong type': (one) => at(one, (v, n) => n === 'reference' && typeof v === 'string' && /^[A-Z]\w+\//.test(v), set('Schedule/1')),
  'a reference to nothing contained': (one) => at(one, (v, n) => n === 'reference' && typeof v === 'string', set('#nowhere')),
  'a second value': (one) => at(one, (v, n) => /^value[A-Z]/.test(n), (o, n) => { o[n === 'valueString' ? 'valueBoolean' : 'valueString'] = n === 'valueString' ? true : 'x'; }),
  'obs-6': (one) => one.resourceType === 'Observation' && Object.keys(one).some((n) => n.startsWith('value')) && Boolean(one.dataAbsentReason = { text: 'x' }),
  'per-1': (one) => at(one, (v) => isObject(v) && v.start && v.end && v.start !== v.end, (o, n, v) => { [v.start, v.end] = [v.end, v.start]; }),
  'qty-3': (one) => at(one, (v, n, o) => n === 'system' && o.code && o.value !== undefined, (o) => { delete o.system; }),
  'ext-1': (one) => at(one, (v, n, o) => n === 'url' && !o.content && Object.keys(o).some((m) => m.startsWith('value')), (o) => { o.extension = [{ url: 'a', valueBoolean: true }]; }),
  'dom-3': (one) => Boolean(one.contained = [...(one.contained ?? []), { resourceType: 'Patient', id: 'nobody', active: true }]),
  'broken narrative': (one) => one.text?.div !== undefined && Boolean(one.text.div = pick([one.text.div.replace('</div>', ''), one.text.div.replace('>', '><script>x</script>'), '<div xmlns="http://www.w3.org/1999/xhtml"> </div>', one.text.div.replace('<div', '<p')])),
  'bdl-7': (one) => one.resourceType === 'Bundle' && one.entry?.[0]?.fullUrl !== undefined && one.type !== 'history' && Boolean(one.entry.push(structuredClone(one.entry[0]))),
  'bdl-1': (one) => one.resourceType === 'Bundle' && (one.total === undefined) && one.type !== 'searchset' && one.type !== 'history' && Boolean(one.total = 7),
  'bdl-3': (one) => one.resourceType === 'Bundle' && one.entry?.[0] !== undefined && (one.entry[0].request ? delete one.entry[0].request : Boolean(one.entry[0].request = { method: 'GET', url: 'Patient' })),
};

const covered = new Set(readFileSync(join(here, '../../../mappings/fhir/elements-r4.csv'), 'utf8').split('\n').filter((row) => /^\w+,(Domain)?Resource,/.test(row)).map((row) => row.split(',')[0]));
const files = readdirSync(examples).filter((file) => covered.has(file.split('-')[0]) && statSync(join(examples, file)).size < 40000);
const instances = files.map((file) => readFileSync(join(examples, file), 'utf8')).filter((text) => {
  const one = JSON.parse(text);
  return (one.entry ?? []).every((entry) => !entry.resource || covered.has(entry.resource.resourceType)) && (one.contained ?? []).every((c) => covered.has(c.resourceType));
});

function problems(judge, json) {
  try {
    return judge.judge({ json });
  } catch (error) {
    return [`stopped: ${String(error.message).slice(0, 80)}`];
  }
}
const before = new Map();
const baseline = (text) => {
  if (!before.has(text)) before.set(text, Object.fromEntries(Object.entries(judges).map(([name, judge]) => [name, problems(judge, JSON.parse(text)).length])));
  return before.get(text);
};

const folder = mkdtempSync(join(tmpdir(), 'faults-'));
const faults = [];
const names = Object.keys(kinds);
for (let tries = 0; faults.length < Number(count) && tries < 100 * Number(count); tries++) {
  const kind = names[faults.length % names.length];
  const text = pick(instances);
  const instance = JSON.parse(text);
  if (!kinds[kind](instance)) continue;
  const changed = JSON.stringify(instance);
  if (changed === JSON.stringify(JSON.parse(text))) continue;
  const known = baseline(text);
  const told = Object.fromEntries(Object.entries(judges).map(([name, judge]) => [name, problems(judge, JSON.parse(changed))]));
  const file = join(folder, `${faults.length}.json`);
  writeFileSync(file, changed);
  faults.push({ kind, file, changed, found: names.length && Object.keys(judges).filter((name) => told[name].length > known[name]), told });
}
let output;
try {
  output = execFileSync(join(build, 'tests/interop_strict'), ['r4', ...faults.map((one) => one.file)], { encoding: 'utf8', maxBuffer: 1 << 28 });
} catch (error) {
  output = error.stdout;
}
const ours = new Map();
for (const row of output.split('\n')) {
  const match = /^(\S+?)(:\d+)?\t/.exec(row);
  if (match) ours.set(match[1], [...(ours.get(match[1]) ?? []), row]);
}
console.log(`${'fault'.padEnd(34)} made  ours  schema  structure  invariants  any  missed  only ours`);
const row = (title, list) => {
  const by = (name) => list.filter((one) => one.found.includes(name)).length;
  const any = list.filter((one) => one.found.length > 0);
  const missed = any.filter((one) => !ours.has(one.file)).length;
  const alone = list.filter((one) => one.found.length === 0 && ours.has(one.file)).length;
  const found = list.filter((one) => ours.has(one.file)).length;
  console.log([title.padEnd(34), String(list.length).padStart(4), String(found).padStart(5), String(by('schema')).padStart(7), String(by('structure')).padStart(10), String(by('invariants')).padStart(11), String(any.length).padStart(4), String(missed).padStart(7), String(alone).padStart(10)].join(' '));
};
for (const name of names) row(name, faults.filter((one) => one.kind === name));
row('all', faults);
const missed = faults.filter((one) => one.found.length > 0 && !ours.has(one.file));
for (const one of missed.slice(0, 25)) {
  console.log(`missed: ${one.kind}: ${one.found.join(', ')}: ${one.found.map((name) => one.told[name].at(-1)).join(' | ').slice(0, 300)}`);
  if (process.env.SHOW) console.log(`    ${one.changed.slice(0, 3000)}`);
}
rmSync(folder, { recursive: true });
console.log(`${faults.length} faults (seed ${seed}), ${missed.length} found by a judge and not by strict reading`);
process.exit(missed.length === 0 ? 0 : 1);
