// Compares records that a server gave back with those that were sent: compare.mjs SENT.ndjson BACK.ndjson
// Digit by digit. Fields that stay with the sender by design (patient.birthYear, patient.sex) are left out.
import { readFileSync } from 'node:fs';
import { isDeepStrictEqual } from 'node:util';
import { parseExactly } from './bundles.js';

const records = (file) => readFileSync(file, 'utf8').split('\n').filter(Boolean).map(parseExactly);
const [sentFile, backFile] = process.argv.slice(2);
const sent = records(sentFile);
const back = new Map(records(backFile).map((record) => [record.id, record]));
const wrong = [];
for (const record of sent) {
  delete record.patient.birthYear;
  delete record.patient.sex;
  if (!isDeepStrictEqual(record, back.get(record.id))) wrong.push(record.id);
}
console.log(`${sent.length - wrong.length} of ${sent.length} records came back from the server as they were sent`);
if (wrong.length > 0) console.log(`not the same: ${wrong.join(' ')}`);
process.exit(sent.length > 0 && wrong.length === 0 ? 0 : 1);
