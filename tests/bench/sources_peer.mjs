// A parser of HL7 v2 of others at the job of sources_bench.cpp: every message split down to its components, and each
// value touched. It decodes no escapes, compares no character set and keeps no places.
// node sources_peer.mjs FILE: for each line on its input it parses all messages once and prints microseconds of the core.
// The package is the one pinned for tests/interop/sources.
import { readFileSync } from 'node:fs';
import { createInterface } from 'node:readline';
import { Hl7Message } from '../interop/sources/node_modules/@medplum/core/dist/esm/index.mjs';

const messages = readFileSync(process.argv[2], 'utf8').split(/(?=MSH\|)/);

function pass() {
  const before = process.cpuUsage();
  let values = 0;
  for (const text of messages) {
    for (const segment of Hl7Message.parse(text).segments) {
      for (const field of segment.fields) {
        for (const repetition of field.components) {
          for (const component of repetition) values += component.split('&').length;
        }
      }
    }
  }
  const used = process.cpuUsage(before);
  return values > 0 ? used.user + used.system : -1;
}

for (let i = 0; i < 5; ++i) pass(); // compiled by now
for await (const line of createInterface({ input: process.stdin })) console.log(line === 'pass' ? pass() : -1);
