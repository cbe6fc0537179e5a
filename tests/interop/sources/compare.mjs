// Our readers of HL7 v2 and CSV beside parsers of others: @medplum/core (messages) and csv-parse (RFC 4180).
//   node compare.mjs INTEROP_SOURCES WORK_FOLDER MESSAGES TABLES
// Good files must give the same trees and rows. Broken ones may be read otherwise only in a way listed here with its
// reason; a way that no longer occurs fails too. Files are generated from fixed seeds; all values are invented.
import { execFileSync } from 'node:child_process';
import { writeFileSync } from 'node:fs';
import { isDeepStrictEqual } from 'node:util';
import { Hl7Message } from '@medplum/core';
import { parse } from 'csv-parse/sync';

const [program, work, messageCount, tableCount] = process.argv.slice(2);

const differences = {
  // HL7 v2: they split at delimiters and nothing else.
  'er7: we refuse delimiters that clash, that are missing or that cannot be such': 0,
  'er7: we pass over a message that does not begin with MSH and its delimiter': 0,
  'er7: we keep all of a segment name that holds delimiters, they keep its first part': 0,
  'er7: we refuse a character set that has no name': 0,
  'er7: with less than four characters in MSH-2 they take what follows for delimiters': 0,
  // CSV: one broken row ends their file; ours goes on and tells the row.
  'csv: they refuse the whole file, we tell the rows that are broken': 0,
};
const failures = [];
let checked = 0;

function generator(seed) {
  let state = seed >>> 0;
  const next = () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = Math.imul(state ^ (state >>> 15), state | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const below = (n) => Math.floor(next() * n);
  return { below, one: (list) => list[below(list.length)] };
}

const ours = (...words) =>
  execFileSync(program, words, { encoding: 'utf8', maxBuffer: 1 << 28 })
    .split('\n')
    .filter(Boolean)
    .map((line) => JSON.parse(line));

// --- HL7 v2 ----------------------------------------------------------------------------------------------------------

// HL7 2.5.1, 2.7: from memory. Formatting stays, and so does a backslash that would look like it.
const stays = /^(H|N|\.(br|sp|in|ti|sk|ce|fi|nf)([+-]?\d+)?)$/;
function decode(raw, by) {
  const letters = { F: by.field, S: by.component, R: by.repetition, T: by.subcomponent, E: by.escape };
  let text = '';
  const own = '\0'; // a backslash of the value, until all of it is there
  const take = (part) => (text += part.replaceAll('\\', own));
  for (let i = 0; i < raw.length; ++i) {
    const close = raw[i] === by.escape ? raw.indexOf(by.escape, i + 1) : -1;
    if (close < 0) {
      take(raw[i]);
      continue;
    }
    const inside = raw.slice(i + 1, close);
    if (letters[inside]) take(letters[inside]);
    else if (/^X([0-9A-F]{2})+$/.test(inside)) take(Buffer.from(inside.slice(1), 'hex').toString('latin1'));
    else if (stays.test(inside)) text += `\\${inside}\\`;
    else take(by.escape + inside + by.escape);
    i = close;
  }
  return text.replace(/\0(?=([^\0\\]*)[\0\\])/g, (_, inside) => (stays.test(inside) || /^([EP]|X([0-9A-F]{2})+)$/.test(inside) ? '\\E\\' : own)).replaceAll(own, '\\');
}

function theirTree(text) {
  const message = Hl7Message.parse(text);
  const by = { field: text[3], component: text[4], repetition: text[5], escape: text[6], subcomponent: text[7] };
  const trimmed = (list) => {
    while (list.length > 0 && (list.at(-1) === null || Object.keys(list.at(-1)).length === 0)) list.pop();
    return list;
  };
  // The end of the last segment opens one more for them, without a name.
  return message.segments.filter((segment) => segment.toString() !== '').map((segment) => {
    const tree = { segment: segment.name };
    const header = segment.name === 'MSH';
    segment.fields.forEach((field, index) => {
      // Their list begins with the name; MSH-1 stands in front of it for us.
      const number = header ? index + 1 : index;
      if (index === 0) return;
      if (header && index === 1) {
        tree[1] = [{ 1: text[3] }];
        tree[2] = [{ 1: text.slice(4, text.indexOf(text[3], 4)) }];
        return;
      }
      const list = trimmed(
        field.components.map((components) => {
          const repetition = {};
          components.forEach((component, c) =>
            component.split(by.subcomponent).forEach((raw, s) => {
              if (raw === '') return;
              repetition[s === 0 ? `${c + 1}` : `${c + 1}.${s + 1}`] = raw === '""' ? null : decode(raw, by);
            }),
          );
          return repetition;
        }),
      );
      if (list.length > 0) tree[number] = list;
    });
    return tree;
  });
}

function message(random) {
  const { below, one } = random;
  const d = one(['|^~\\&', '|^~\\&', '|^~\\&', '!*%$@', '|^~?#']);
  const [field, component, repetition, escape, subcomponent] = d;
  const end = one(['\r', '\n', '\r\n']);
  const piece = () =>
    one(['4.0', 'cm', 'two words', 'é', ...'FSRTE'.split('').map((c) => escape + c + escape), `${escape}.br${escape}`, `${escape}X41${escape}`, `a${escape}E${escape}b`, '39125-0', '{}', '<x>']);
  const value = () => (below(15) === 0 ? '""' : Array.from({ length: below(4) }, piece).join(''));
  const list = (separator, most, make) => Array.from({ length: 1 + below(most) }, make).join(separator);
  const any = () => list(repetition, 1 + below(3), () => list(component, 4, () => list(subcomponent, 1 + below(3), value)));
  const segments = Array.from({ length: 1 + below(12) }, () =>
    [one(['PID', 'PV1', 'OBR', 'OBX', 'NTE', 'ZW1']), ...Array.from({ length: below(14) }, () => (below(3) === 0 ? '' : any()))].join(field),
  );
  const header = ['MSH', d.slice(1), 'SITE', 'HOME', '', '', '20260302103000+0000', '', ['ORU', 'R01', 'ORU_R01'].join(component), String(below(1e6)), 'P', '2.5.1', '', '', '', '', '', 'UNICODE UTF-8'].join(field);
  return [header, ...segments].join(end) + end;
}

function broken(text, { below, one }) {
  let changed = text;
  for (let i = 1 + below(4); i-- > 0; ) {
    const at = below(3) === 0 ? below(12) : below(changed.length);
    const with_ = one(['', '|', '^', '~', '\\', '&', '"', '\r', 'A', '\t', '""', '\\X4\\', '\\', 'MSH|']);
    changed = changed.slice(0, at) + with_ + changed.slice(at + below(3));
  }
  return changed;
}

// What is in front of the first component and repetition delimiter of the message.
const first = (name, text) => [text[4], text[5]].reduce((rest, delimiter) => rest.split(delimiter)[0], name);

// The first segment that differs.
function apart(text, pieces, theirs) {
  const mine = pieces.flatMap((piece) => piece.segments ?? [piece]);
  const at = mine.findIndex((segment, i) => !isDeepStrictEqual(segment, theirs?.[i]));
  return `${JSON.stringify(text.slice(0, 40))}… segment ${at}\n  ours   ${JSON.stringify(mine[at])}\n  theirs ${JSON.stringify(theirs?.[at])}`;
}

const random = generator(20260302);
for (let i = 0; i < Number(messageCount); ++i) {
  const text = message(random);
  const file = `${work}/message.hl7`;
  writeFileSync(file, text);
  const [tree, ...more] = ours('er7', file);
  const theirs = theirTree(text);
  ++checked;
  if (more.length > 0 || !isDeepStrictEqual(tree.segments, theirs)) {
    failures.push(`message ${i}: ${apart(text, [tree, ...more], theirs)}`);
  }
}
for (let i = 0; i < Number(messageCount); ++i) {
  const text = broken(message(random), random);
  const file = `${work}/message.hl7`;
  writeFileSync(file, text);
  const pieces = ours('er7', file);
  ++checked;
  let theirs;
  try {
    theirs = theirTree(text);
  } catch {
    theirs = null;
  }
  const refused = pieces.find((piece) => piece.error)?.error;
  const odd = (reason) => ++differences[reason];
  if (pieces.length === 1 && !refused && theirs && isDeepStrictEqual(pieces[0].segments, theirs)) continue;
  const begins = /^MSH[^A-Za-z0-9]/.test(text);
  if (refused && /delimiter|cannot delimit/.test(refused)) odd('er7: we refuse delimiters that clash, that are missing or that cannot be such');
  else if (!begins) odd('er7: we pass over a message that does not begin with MSH and its delimiter');
  else if (/character set/.test(refused)) odd('er7: we refuse a character set that has no name');
  else if (text.indexOf(text[3], 4) < 8 || /[\r\n]/.test(text.slice(4, 8))) odd('er7: with less than four characters in MSH-2 they take what follows for delimiters');
  else if (pieces.length === 1 && isDeepStrictEqual(pieces[0].segments.map((one) => ({ ...one, segment: first(one.segment, text) })), theirs)) {
    odd('er7: we keep all of a segment name that holds delimiters, they keep its first part');
  } else failures.push(`broken message ${i}: ${apart(text, pieces, theirs)}`);
}

// --- CSV -------------------------------------------------------------------------------------------------------------

const pieces = ['a', '4.0', '"', '""', ',', ';', '\t', '\n', '\r\n', '\r', ' ', 'é', '#', "'", '=1+1', '﻿', '\\', '|'];
const options = (delimiter) => ({
  delimiter,
  bom: true,
  record_delimiter: ['\r\n', '\n', '\r'],
  relax_column_count: true,
  skip_empty_lines: true,
});

function table({ below, one }) {
  const delimiter = one([',', ',', ';', '\t', '|']);
  const end = one(['\n', '\r\n']);
  const columns = 1 + below(5);
  const cell = () => Array.from({ length: below(5) }, () => one(pieces)).join('');
  const quoted = (text) =>
    below(4) === 0 || text === '' || /["\r\n﻿]/.test(text) || text.includes(delimiter) ? `"${text.replaceAll('"', '""')}"` : text;
  const row = (make) => Array.from({ length: columns }, make).map(quoted).join(delimiter);
  let index = 0;
  const rows = [row(() => `c${++index}${one(pieces)}`), ...Array.from({ length: below(12) }, () => row(cell))];
  return { delimiter, text: rows.join(end) + (below(2) === 0 ? end : '') };
}

for (let i = 0; i < Number(tableCount) * 2; ++i) {
  const made = table(random);
  const good = i < Number(tableCount);
  if (!good) {
    const at = random.below(made.text.length);
    made.text = made.text.slice(0, at) + random.one(['"', '"', 'x', '\n', made.delimiter, '""']) + made.text.slice(at + random.below(2));
  }
  const file = `${work}/table.csv`;
  writeFileSync(file, made.text);
  const rows = ours('csv', made.delimiter, file);
  ++checked;
  let theirs;
  try {
    theirs = parse(made.text, options(made.delimiter));
  } catch {
    theirs = null;
  }
  if (isDeepStrictEqual(rows, theirs)) continue;
  const told = rows.find((row) => row.error)?.error;
  if (!good && theirs === null && told) ++differences['csv: they refuse the whole file, we tell the rows that are broken'];
  else if (!good && told === 'two columns have one name') continue; // a header is a row to them
  else failures.push(`table ${i}: ${JSON.stringify(made.text)}\n  ours   ${JSON.stringify(rows)}\n  theirs ${JSON.stringify(theirs)}`);
}

for (const [reason, count] of Object.entries(differences)) {
  console.log(`${count} times: ${reason}`);
  if (count === 0) failures.push(`no longer occurs: ${reason}`);
}
for (const failure of failures.slice(0, 10)) console.log(failure.slice(0, 2000));
console.log(`${checked} files, ${failures.length} not explained`);
process.exit(failures.length === 0 ? 0 : 1);
