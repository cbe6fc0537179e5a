// FHIR JSON <-> XML, ours against the npm package `fhir`, over HL7's examples and files of our own, by token.
//   node compare.mjs INTEROP_XML r4|r5 WORK_FOLDER [OUR_FILE.json|OUR_FILE.ndjson …]
// Three laws for every file whose resource types the element tables have:
//   1. JSON -> our XML -> our JSON is the same;            2. JSON -> our XML -> the judge's JSON is the same;
//   3. JSON -> the judge's XML -> our JSON is the same.
// (The judge knows R4. For R5, our XML must pass HL7's schema by xmllint.)
// Numbers are compared digit by digit. What the judge itself does not bring back from its own XML is no vote.
import fs from 'node:fs';
import path from 'node:path';
import { spawnSync } from 'node:child_process';
import { createRequire } from 'node:module';

const require = createRequire(import.meta.url);
const { Fhir } = require('fhir/fhir');

const [tool, version, work, ...own] = process.argv.slice(2);
const here = path.dirname(new URL(import.meta.url).pathname);
const table = fs.readFileSync(path.join(here, `../../../mappings/fhir/elements-${version}.csv`), 'utf8');
const rows = table.split('\n').map((line) => line.split(','));
const bases = new Map(rows.filter((row) => /^[A-Z][A-Za-z]*$/.test(row[0])).map((row) => [row[0], row[1]]));
const isResource = (type) => type === 'Resource' || (bases.has(type) && isResource(bases.get(type)));

// Numbers as strings that no string of the data equals, so that JavaScript cannot round them.
function tokens(text) {
  let out = '';
  for (let at = 0; at < text.length; ) {
    if (text[at] === '"') {
      let end = at + 1;
      while (text[end] !== '"') end += text[end] === '\\' ? 2 : 1;
      out += text.slice(at, end + 1);
      at = end + 1;
    } else if (/[-0-9]/.test(text[at])) {
      const number = /^[-+.0-9eE]+/.exec(text.slice(at))[0];
      out += JSON.stringify('\u0001' + number);
      at += number.length;
    } else {
      out += text[at++];
    }
  }
  return JSON.parse(out);
}

// XML reads CR LF as LF: so does the comparison, in the narrative only.
function line_ends(value, name) {
  if (Array.isArray(value)) return value.map((one) => line_ends(one));
  if (value !== null && typeof value === 'object') {
    return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, line_ends(one, key)]));
  }
  return name === 'div' && typeof value === 'string' ? value.replace(/\r\n?/g, '\n') : value;
}

// The first difference of two values, members in any order; undefined when there is none.
function difference(a, b, at, same) {
  if (Array.isArray(a) && Array.isArray(b)) {
    if (a.length !== b.length) return `${at}: ${a.length} and ${b.length} elements`;
    for (let i = 0; i < a.length; ++i) {
      const found = difference(a[i], b[i], `${at}[${i}]`, same);
      if (found) return found;
    }
    return undefined;
  }
  if (a !== null && b !== null && typeof a === 'object' && typeof b === 'object' && !Array.isArray(a) && !Array.isArray(b)) {
    for (const key of new Set([...Object.keys(a), ...Object.keys(b)])) {
      if (!(key in a) || !(key in b)) return `${at}.${key}: only in one`;
      const found = difference(a[key], b[key], `${at}.${key}`, same);
      if (found) return found;
    }
    return undefined;
  }
  return same(a, b, at) ? undefined : `${at}: ${JSON.stringify(a)} and ${JSON.stringify(b)}`;
}
const exactly = (a, b) => a === b;
// The judge turns numbers into doubles and writes the narrative anew: those by value and by text.
const text_of = (div) => div.replace(/<[^>]*>/g, '').replace(/&#x?[0-9A-Fa-f]+;|&[a-z]+;/g, '&').replace(/[\s\u00A0&<>"']+/g, '');
const as_the_judge = (a, b, at) =>
  a === b ||
  (typeof a === 'string' && typeof b === 'string' && a[0] === '\u0001' && b[0] === '\u0001' && Number(a.slice(1)) === Number(b.slice(1))) ||
  (at.endsWith('.div') && typeof a === 'string' && typeof b === 'string' && text_of(a) === text_of(b));

function covered(value) {
  if (Array.isArray(value)) return value.every(covered);
  if (value === null || typeof value !== 'object') return true;
  if (typeof value.resourceType === 'string' && !(bases.has(value.resourceType) && isResource(value.resourceType))) return false;
  return Object.values(value).every(covered);
}

const examples = path.join(here, `node_modules/hl7.fhir.${version}.examples`);
const files = [];
for (const name of fs.readdirSync(examples).sort()) {
  if (name.endsWith('.json') && name !== 'package.json' && !name.startsWith('.')) files.push(path.join(examples, name));
}

for (const folder of ['json', 'xml', 'back', 'judge-xml', 'judge-back']) {
  fs.rmSync(path.join(work, folder), { recursive: true, force: true });
  fs.mkdirSync(path.join(work, folder), { recursive: true });
}
const cases = new Map();
let left_out = 0;
const texts = files.map((file) => [path.basename(file, '.json'), fs.readFileSync(file, 'utf8').replace(/^\uFEFF/, '')]);
for (const file of own) {
  const text = fs.readFileSync(file, 'utf8');
  const stem = 'own-' + path.basename(file).replace(/\.(nd)?json$/, '');
  if (!file.endsWith('.ndjson')) texts.push([stem, text]);
  else text.split('\n').filter((line) => line !== '').forEach((line, at) => texts.push([`${stem}-${at + 1}`, line]));
}
for (const [name, text] of texts) {
  const value = tokens(text);
  if (!bases.has(value.resourceType) || !isResource(value.resourceType)) continue;
  if (!covered(value)) { ++left_out; continue; }
  cases.set(name, { text, value: line_ends(value) });
  fs.writeFileSync(path.join(work, 'json', name + '.json'), text);
}

function run(direction, from, to, extension) {
  const list = [...cases.keys()].map((name) => path.join(work, from, name + extension)).filter((file) => fs.existsSync(file));
  const said = [];
  for (let at = 0; at < list.length; at += 200) {
    const done = spawnSync(tool, [direction, version, '--into', path.join(work, to), ...list.slice(at, at + 200)], { encoding: 'utf8' });
    said.push(...done.stderr.split('\n').filter((line) => line !== ''));
  }
  return said;
}
const failures = [];
const check = (law, name, folder, same) => {
  const file = path.join(work, folder, name + '.json');
  if (!fs.existsSync(file)) return `${law}: ${name}: nothing came back`;
  const found = difference(cases.get(name).value, line_ends(tokens(fs.readFileSync(file, 'utf8'))), '', same);
  return found && `${law}: ${name}: ${found.slice(0, 300)}`;
};

failures.push(...run('to-xml', 'json', 'xml', '.json'));
failures.push(...run('to-json', 'xml', 'back', '.xml'));
let ours = 0;
for (const name of cases.keys()) {
  const found = check('ours and back', name, 'back', exactly);
  if (found) failures.push(found); else ++ours;
}

// The judge, which knows R4. It prints what it cannot do; only its results count.
const judge = version === 'r4' ? new Fhir() : undefined;
console.warn = console.log.bind(console);
let read = 0, written = 0;
const voteless = [];  // those it has none on
for (const name of judge ? cases.keys() : []) {
  const { text, value } = cases.get(name);
  let own_xml, own_json;
  try {
    own_xml = judge.jsonToXml(text);
    own_json = tokens(judge.xmlToJson(own_xml));
  } catch (error) {
    own_json = undefined;
  }
  const steady = own_json !== undefined && !difference(value, line_ends(own_json), '', as_the_judge);
  if (!steady) { voteless.push(name); continue; }
  fs.writeFileSync(path.join(work, 'judge-xml', name + '.xml'), own_xml);
  const xml = path.join(work, 'xml', name + '.xml');
  try {
    const found = difference(value, line_ends(tokens(judge.xmlToJson(fs.readFileSync(xml, 'utf8')))), '', as_the_judge);
    if (found) failures.push(`judge reads ours: ${name}: ${found.slice(0, 300)}`); else ++read;
  } catch (error) {
    failures.push(`judge reads ours: ${name}: ${error.message}`);
  }
}
failures.push(...run('to-json', 'judge-xml', 'judge-back', '.xml'));
for (const name of judge ? cases.keys() : []) {
  if (voteless.includes(name)) continue;
  const found = check('we read the judge', name, 'judge-back', as_the_judge);
  if (found) failures.push(found); else ++written;
}

// The schema of R5, as HL7 publishes it.
let valid = 0;
// FHIR's dateTime and time take the second 60 (R5, datatypes.html#dateTime), XML Schema's do not.
let leap_seconds = 0;
const leap_second = /attribute 'value': '[^']*:60(\.\d+)?(Z|[-+]\d\d:\d\d)?' is not a valid value/;
if (version === 'r5') {
  const schema = path.join(here, 'node_modules/hl7.fhir.r5.core/xml/fhir-single.xsd');
  const list = [...cases.keys()].map((name) => path.join(work, 'xml', name + '.xml')).filter((file) => fs.existsSync(file));
  const done = spawnSync('xmllint', ['--noout', '--nonet', '--schema', schema, ...list], { encoding: 'utf8', maxBuffer: 1 << 28 });
  if (done.error) failures.push(`xmllint: ${done.error.message}`);
  for (const line of (done.stderr ?? '').split('\n')) {
    if (line.endsWith(' validates')) ++valid;
    else if (leap_second.test(line)) ++leap_seconds;
    else if (line !== '' && !line.endsWith('fails to validate')) failures.push(`schema: ${line.slice(0, 400)}`);
  }
  if (valid === 0) failures.push('schema: nothing was judged');
}

for (const line of failures) console.log(line);
for (const name of voteless) console.log(`no vote: ${name}`);
console.log(`${version}: ${cases.size} files (${left_out} hold other resource types); ours and back ${ours}` +
  (judge ? `, judge reads ours ${read}, we read the judge ${written}, the judge has no vote on ${voteless.length}` : `, schema passed ${valid}, ${leap_seconds} leap seconds that FHIR takes and the schema does not`));
process.exit(failures.length === 0 && cases.size > 100 ? 0 : 1);
