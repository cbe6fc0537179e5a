// Loads transactions into a server: load.mjs BUNDLES.ndjson CONDITIONAL.ndjson READ-BACK.json
// BUNDLES.ndjson is loaded twice: the second time must add nothing and change nothing. What the server then holds
// is written to READ-BACK.json. CONDITIONAL.ndjson holds the same visits with --refs conditional: they must attach
// to the patient and the encounter that the server has, and be refused by a server that does not have them.
// Prints a line a check and ends with "N passed, N failed".
import { writeFileSync } from 'node:fs';
import { isDeepStrictEqual } from 'node:util';
import { readLines, walk } from './bundles.js';
import { Server } from './server.js';

const [bundlesFile, conditionalFile, readBackFile] = process.argv.slice(2);
const bundles = readLines(bundlesFile);
const conditional = readLines(conditionalFile);

let passed = 0;
let failed = 0;
function check(what, problems) {
  console.log(`${problems.length === 0 ? 'passed' : 'FAILED'}  ${what}`);
  for (const problem of [...new Set(problems)].slice(0, 25)) console.log(`    ${problem}`);
  if (problems.length === 0) passed++;
  else failed++;
}
async function load(server, lines) {
  const problems = [];
  for (const { text } of lines) problems.push(...(await server.load(text)));
  return problems;
}
// Resources by id, without the time and the number of their version.
const contents = (server) => new Map(server.all().map(({ meta: { versionId, lastUpdated, ...meta }, ...one }) => [`${one.resourceType}/${one.id}`, { meta, ...one }]));

{
  const server = new Server();
  check(`${bundles.length} transactions are taken`, await load(server, bundles));
  const first = contents(server);
  check('and are taken again', await load(server, bundles));
  const second = contents(server);
  const problems = first.size === 0 ? ['nothing was loaded'] : [];
  for (const [id, one] of second) {
    if (!first.has(id)) problems.push(`added by the second load: ${one.resourceType}`);
    else if (!isDeepStrictEqual(first.get(id), one)) problems.push(`changed by the second load: ${one.resourceType}`);
  }
  check(`the second load neither adds to the ${first.size} resources nor changes one`, problems);
  writeFileSync(readBackFile, `${server.text()}\n`);
}

// The patients and encounters that the references of `lines` ask for, as a server would have them.
function askedFor(lines) {
  const uris = new Set();
  for (const { json } of lines) {
    walk(json, (value) => { if (/^(Patient|Encounter)\?/.test(value?.reference ?? '')) uris.add(value.reference); });
  }
  return [...uris].map((uri) => {
    const [resourceType, query] = uri.split('?');
    const [system, value] = new URLSearchParams(query).get('identifier').split('|');
    const encounter = { status: 'finished', class: { system: 'http://terminology.hl7.org/CodeSystem/v3-ActCode', code: 'AMB' } };
    return { resourceType, identifier: [{ system, value }], ...(resourceType === 'Encounter' ? encounter : {}) };
  });
}
const asked = askedFor(conditional);
const patients = asked.filter(({ resourceType }) => resourceType === 'Patient');

{
  const server = new Server();
  const idOf = new Map();
  for (const one of asked) idOf.set(`${one.resourceType} ${one.identifier[0].value}`, (await server.create(one)).id);
  // Somebody else with the same number, of another system.
  await server.create({ resourceType: 'Patient', identifier: [{ system: 'https://elsewhere.invented.example', value: patients[0].identifier[0].value }] });
  check(`${conditional.length} conditional transactions are taken where ${asked.length} patients and encounters are`, await load(server, conditional));
  // By the visits as charted: whose they are stands in the Bundles with references by identifier.
  const ownerOf = new Map();
  for (const { json } of bundles) {
    for (const { resource } of json.entry) {
      const owner = resource.subject ?? resource.patient;
      ownerOf.set(JSON.stringify(resource.identifier), owner.identifier.value);
    }
  }
  const problems = [];
  let attached = 0;
  for (const one of server.all()) {
    const owner = one.subject ?? one.patient;
    if (!owner) continue;
    const id = idOf.get(`Patient ${ownerOf.get(JSON.stringify(one.identifier))}`);
    if (id !== undefined && owner.reference === `Patient/${id}`) attached++;
    else problems.push(`${one.resourceType} is attached to ${owner.reference}`);
  }
  if (attached === 0) problems.push('nothing is attached');
  check(`${attached} resources are attached each to its own patient`, problems);
}

{
  const server = new Server();
  for (const one of asked.filter(({ resourceType }) => resourceType !== 'Patient')) await server.create(one);
  const held = server.all().length;
  const answers = [];
  for (const { text } of conditional) answers.push(await server.load(text));
  const taken = answers.filter((problems) => !problems.some((one) => one.startsWith('the Bundle was refused: 0 resources match a reference to Patient')));
  check('all of them are refused where the patient is missing', taken.map(() => 'a Bundle was taken'));
  check('and nothing of them is stored', server.all().length === held ? [] : [`${server.all().length - held} resources are stored`]);
}

{
  const server = new Server();
  for (const one of [...asked, ...patients]) await server.create(one);
  const answers = [];
  for (const { text } of conditional) answers.push(await server.load(text));
  const taken = answers.filter((problems) => !problems.some((one) => one.startsWith('the Bundle was refused: 2 resources match a reference to Patient')));
  check('and where two patients have the same identifier', taken.map(() => 'a Bundle was taken'));
}

console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
