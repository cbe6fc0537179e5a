// The other side of units_bench: reads one JSON line {codes, pairs}, then for every line "validate" or "convert" runs that
// round for each library and answers with CPU seconds. usage: node units_peer.mjs MODULES (a folder with node_modules)
import { createInterface } from 'node:readline';
import { createRequire } from 'node:module';
import { pathToFileURL } from 'node:url';
import { resolve } from 'node:path';

const require = createRequire(pathToFileURL(resolve(process.argv[2], 'package.json')));
const { ucum } = await import(pathToFileURL(resolve(process.argv[2], 'node_modules/@atomic-ehr/ucum/dist/index.js')));
const lhc = require('@lhncbc/ucum-lhc').UcumLhcUtils.getInstance();
console.log = () => {};
console.info = () => {};

const seconds = (work) => {
  const before = process.cpuUsage();
  work();
  const { user, system } = process.cpuUsage(before);
  return (user + system) / 1e6;
};

const rounds = {
  validate: ({ codes }, repeat) => ({
    atomic: seconds(() => {
      for (let r = 0; r < repeat; ++r) for (const code of codes) if (!ucum.validate(code).valid) throw new Error(code);
    }),
    lhc: seconds(() => {
      for (let r = 0; r < repeat; ++r) for (const code of codes) if (lhc.validateUnitString(code).status !== 'valid') throw new Error(code);
    }),
  }),
  convert: ({ pairs }, repeat) => ({
    atomic: seconds(() => {
      for (let r = 0; r < repeat; ++r) for (const [from, to] of pairs) ucum.convert(7.25, from, to);
    }),
    lhc: seconds(() => {
      for (let r = 0; r < repeat; ++r) for (const [from, to] of pairs) if (lhc.convertUnitTo(from, 7.25, to).status !== 'succeeded') throw new Error(`${from} ${to}`);
    }),
  }),
};

let work;
for await (const line of createInterface({ input: process.stdin })) {
  if (!work) {
    work = JSON.parse(line);
    process.stdout.write('ready\n');
    continue;
  }
  const [what, repeat] = line.split(' ');
  const { atomic, lhc: other } = rounds[what](work, Number(repeat));
  process.stdout.write(`${atomic} ${other}\n`);
}
