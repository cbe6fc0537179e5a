// Independent judges of FHIR R4: judge.mjs PUBLISHED.json... BUNDLES..., where files named .json are what
// `charpie codes --as fhir` and `charpie map --as fhir` publish, which is judged too; the others hold a Bundle a line.
// Each judge stands in a file of judges/ and exports
//   name       what it holds the Bundles against
//   breaks     [what, plant(bundle)]: faults that it must see. Each is planted into a copy of the first Bundle
//              that has a place for it (plant throws where there is none); a judge that overlooks one has failed
//   judge      {json} -> the problems found, as sentences
//   looked     what was looked at, by kind, so that a judge that looks at nothing is noticed
// Prints the planted faults, then for each file a row a judge with its commonest problems, and ends with
// "N passed, N failed".
import { readFileSync } from 'node:fs';
import { readLines } from './bundles.js';

const names = ['json_schema', 'structure', 'invariants', 'references', 'codes', 'extensions', 'units', 'us_core'];
const judges = await Promise.all(names.map((name) => import(`./judges/${name}.js`)));
const files = process.argv.slice(2);
const published = files.filter((file) => file.endsWith('.json'));
const bundlesOf = new Map(files.map((file) => [file, published.includes(file) ? [{ json: JSON.parse(readFileSync(file, 'utf8')) }] : readLines(file)]));
for (const file of published) {
  for (const { publish } of judges) publish?.(bundlesOf.get(file)[0].json);
}

let passed = 0;
let failed = 0;
function row(name, checked, problems, looked) {
  console.log(`${name.padEnd(38)} ${String(checked).padStart(7)} ${String(problems.length).padStart(8)}  ${looked}`.trimEnd());
  const kinds = new Map();
  for (const problem of problems) {
    const kind = problem.replace(/\[\d+\]/g, '[]');
    kinds.set(kind, (kinds.get(kind) ?? 0) + 1);
  }
  const shown = 25;
  for (const [kind, count] of [...kinds].sort((a, b) => b[1] - a[1]).slice(0, shown)) console.log(`    ${count} x ${kind}`);
  if (kinds.size > shown) console.log(`    and ${kinds.size - shown} other kinds`);
  if (problems.length === 0) passed++;
  else failed++;
}
const title = (text, checked) => console.log(`\n${text.padEnd(38)} ${checked.padStart(7)} problems  looked at`);

// Whether `judge` says of the Bundle with the fault what it did not say of the Bundle without.
function sees(judge, plant, bundles) {
  for (const { json } of bundles) {
    const broken = structuredClone(json);
    try {
      plant(broken);
    } catch {
      continue;
    }
    const before = new Set(judge({ json }));
    return judge({ json: broken }).some((problem) => !before.has(problem)) ? '' : 'overlooked';
  }
  return 'no Bundle has a place for it';
}

title('planted faults', 'planted');
for (const { name, judge, breaks } of judges) {
  const blind = breaks.map(([what, plant]) => [sees(judge, plant, [...bundlesOf.values()].flat()), what]).filter(([why]) => why);
  row(name, breaks.length, blind.map(([why, what]) => `${why}: ${what}`), '');
}
for (const [file, bundles] of bundlesOf) {
  if (bundles.length === 0) throw new Error(`${file} holds no Bundle`);
  title(file.slice(file.lastIndexOf('/') + 1), 'Bundles');
  for (const { name, judge, looked } of judges) {
    looked.clear();
    const problems = bundles.flatMap((bundle) => judge(bundle));
    row(name, bundles.length, problems, [...looked].map(([kind, count]) => `${count} ${kind}`).join(', '));
  }
}
console.log(`\n${passed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
