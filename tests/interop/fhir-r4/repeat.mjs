// Loads the same visits again: repeat.mjs FOLDER, with Bundles of one set of visits, one a line:
//   transaction, batch      each visit's Bundle
//   whole, resumed          of one run that went through, and of one that was killed and went on
//   first, amended, error   one visit as it was sent first; with fewer members, and what it withdraws; entered in error
//   shared-update           as transaction, sent with --on-repeat Condition=update
//   stamped                 as transaction, sent with --stamp
// After each load the server is asked how many resources of each type it holds and in how many versions.
// Prints a line a check and ends with "N passed, N failed".
import { isDeepStrictEqual } from 'node:util';
import { readLines, walk } from './bundles.js';
import { Server } from './server.js';

const folder = process.argv[2];
const bundlesOf = (name) => readLines(`${folder}/${name}`);
const shared = new Set(['Condition', 'BodyStructure', 'Patient', 'Practitioner', 'Device']);

let passed = 0;
let failed = 0;
function check(what, problems) {
  console.log(`${problems.length === 0 ? 'passed' : 'FAILED'}  ${what}`);
  for (const problem of [...new Set(problems)].slice(0, 25)) console.log(`    ${problem}`);
  if (problems.length === 0) passed++;
  else failed++;
}
async function load(server, name) {
  const problems = [];
  for (const { text } of bundlesOf(name)) problems.push(...(await server.load(text)));
  check(`${name} is taken`, problems);
}

// By type: how many.
const counts = (server) => {
  const sum = {};
  for (const { resourceType } of server.all()) sum[resourceType] = (sum[resourceType] ?? 0) + 1;
  return sum;
};
// What the entries ask for, without what they share twice.
const asked = (name) => {
  const seen = new Set();
  const sum = {};
  for (const { json } of bundlesOf(name)) {
    for (const { request, resource } of json.entry) {
      const key = request.ifNoneExist ? `${request.url}?${request.ifNoneExist}` : request.url;
      if (request.method === 'POST' && !request.ifNoneExist) sum[resource.resourceType] = (sum[resource.resourceType] ?? 0) + 1;
      else if (!seen.has(key)) sum[resource.resourceType] = (sum[resource.resourceType] ?? 0) + 1;
      seen.add(key);
    }
  }
  return sum;
};
const differing = (a, b) => [...new Set([...Object.keys(a), ...Object.keys(b)])]
  .filter((type) => a[type] !== b[type]).map((type) => `${type}: ${a[type] ?? 0} instead of ${b[type] ?? 0}`);
const versions = (server) => new Map(server.all().map(({ resourceType, id, meta }) => [`${resourceType}/${id}`, meta.versionId]));
const contents = (server) => new Map(server.all().map(({ meta: { versionId, lastUpdated, ...meta }, ...one }) => [`${one.resourceType}/${one.id}`, { meta, ...one }]));
// By business identifier, with references as the identifiers of what they lead to: the same for any server's ids.
const meaning = (server) => {
  const nameOf = new Map(server.all().map(({ resourceType, id, identifier }) => [`${resourceType}/${id}`, JSON.stringify(identifier)]));
  return new Set(server.all().map(({ id, meta, ...one }) => {
    const copy = structuredClone(one);
    walk(copy, (value) => { if (nameOf.has(value?.reference)) value.reference = nameOf.get(value.reference); });
    return JSON.stringify(copy);
  }));
};

for (const name of ['transaction', 'batch']) {
  const server = new Server();
  await load(server, name);
  check(`${name}: one resource for each that is asked for`, differing(counts(server), asked(name)));
  const first = contents(server);
  const versionsBefore = versions(server);
  await load(server, name);
  check(`${name}, again: none is added`, differing(counts(server), asked(name)));
  check(`${name}, again: none says something else`, [...contents(server)].filter(([id, one]) => !isDeepStrictEqual(one, first.get(id))).map(([id]) => id.split('/')[0]));
  check(`${name}, again: what visits share keeps its version`,
    [...versions(server)].filter(([id, version]) => shared.has(id.split('/')[0]) && version !== versionsBefore.get(id)).map(([id]) => id));
}

{
  const [transaction, batch] = [new Server(), new Server()];
  await load(transaction, 'transaction');
  await load(batch, 'batch');
  check('a batch leaves as many resources as a transaction', differing(counts(batch), counts(transaction)));
  const dangling = [];
  const known = new Set(batch.all().flatMap(({ resourceType, identifier }) => (identifier ?? []).map(({ system, value }) => `${resourceType} ${system}|${value}`)));
  let looked = 0;
  for (const one of batch.all()) {
    walk(one, (value) => {
      if (value?.reference) dangling.push(`${one.resourceType}: a reference to ${value.reference}`);
      if (!value?.identifier || !['Condition', 'BodyStructure', 'Observation', 'Procedure', 'ServiceRequest'].includes(value.type)) return;
      looked++;
      if (!known.has(`${value.type} ${value.identifier.system}|${value.identifier.value}`)) dangling.push(`${one.resourceType}: no ${value.type} has that identifier`);
    });
  }
  if (looked === 0) dangling.push('no reference by identifier was looked at');
  check(`${looked} references by identifier lead to what the server has`, dangling);
}

{
  const [whole, resumed] = [new Server(), new Server()];
  await load(whole, 'whole');
  await load(resumed, 'resumed');
  check('a run that was killed and went on leaves what one that went through leaves', isDeepStrictEqual(meaning(whole), meaning(resumed)) ? [] : ['they differ']);
}

{
  const server = new Server();
  await load(server, 'first');
  const before = counts(server);
  const versionsBefore = versions(server);
  const spaces = () => server.all().filter(({ code }) => code?.coding.some((one) => one.code === 'spaces'));
  check('first load: three members, none in error', spaces().length === 3 && spaces().every(({ status }) => status === 'final') ? [] : [spaces().map(({ status }) => status).join()]);
  await load(server, 'amended');
  check('amended load: the member that is gone is in error, the others are amended',
    isDeepStrictEqual(spaces().map(({ status }) => status).sort(), ['amended', 'amended', 'entered-in-error']) ? [] : [spaces().map(({ status }) => status).join()]);
  check('amended load: only the new members are added',
    Object.entries(counts(server)).filter(([type, count]) => count < before[type] || (shared.has(type) && count !== before[type])).map(([type]) => type));
  check('amended load: the wound keeps its version, the visit has a new one', [
    ...[...versionsBefore].filter(([id, version]) => shared.has(id.split('/')[0]) && versions(server).get(id) !== version).map(([id]) => `${id} was written over`),
    ...server.all().filter(({ code, id, meta }) => code?.coding.some((one) => one.code === 'visit') && meta.versionId === versionsBefore.get(`Observation/${id}`)).map(() => 'the visit was not written over'),
  ]);
}

{
  const server = new Server();
  await load(server, 'first');
  const before = counts(server);
  const wound = server.all().find(({ resourceType }) => resourceType === 'Condition').meta.versionId;
  await load(server, 'error');
  check('entered in error: nothing is added', differing(counts(server), before));
  check('entered in error: all that is the visit\'s own says so',
    server.all().filter(({ resourceType, status }) => ['Observation', 'Procedure'].includes(resourceType) && status !== 'entered-in-error').map(({ resourceType, status }) => `${resourceType} ${status}`));
  check('entered in error: the wound is as it was', server.all().find(({ resourceType }) => resourceType === 'Condition').meta.versionId === wound ? [] : ['it has a new version']);
}

{
  const server = new Server();
  await load(server, 'transaction');
  const before = counts(server);
  await load(server, 'shared-update');
  check('--on-repeat Condition=update: none is added', differing(counts(server), before));
}

{
  const server = new Server();
  await load(server, 'stamped');
  const provenances = server.all().filter(({ resourceType }) => resourceType === 'Provenance');
  const known = new Set(server.all().map(({ resourceType, id }) => `${resourceType}/${id}`));
  check(`${provenances.length} visits stamped: a Provenance each and one Device`, [
    ...(provenances.length === bundlesOf('stamped').length ? [] : ['not one a visit']),
    ...(counts(server).Device === 1 ? [] : [`${counts(server).Device} Devices`]),
    ...provenances.flatMap(({ target, agent }) => [...target, agent[0].who]).filter(({ reference }) => !known.has(reference)).map(({ reference }) => `leads nowhere: ${reference}`),
  ]);
}

console.log(`${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
