// The job of convert_bench.cpp as one would write it in plain JavaScript: a record becomes a transaction Bundle of
// about the same instances and size, and comes back. A peer for speed only: it checks no field, no unit and no code,
// and its tables are the few entries that the generated records need.
//
// node convert_peer.mjs RECORDS.ndjson BUNDLES.ndjson, then a word a line on its input: size (mean bytes of a Bundle);
// convert, back or judge (microseconds of the core a record; judge: the fastest npm judge on BUNDLES). See
// convert_bench.cpp.
import { createHash } from 'node:crypto';
import { readFileSync } from 'node:fs';
import { createInterface } from 'node:readline';

const base = 'http://charpie.example/fhir';
const loinc = 'http://loinc.org';
const sct = 'http://snomed.info/sct';
const exam = {
  coding: [{ system: 'http://terminology.hl7.org/CodeSystem/observation-category', code: 'exam', display: 'Exam' }],
};

// Which fields become instances of their own, which become components, and what they are called.
const single = [
  'wound.type', 'wound.cause', 'wound.site', 'wound.side', 'wound.onset', 'wound.presentOnAdmission',
  'removed.packing', 'removed.drainage.amount', 'removed.drainage.type', 'removed.drainage.odor',
  'drainage.present', 'drainage.amount', 'drainage.type', 'drainage.color', 'drainage.odor', 'pain.before',
  'pain.during', 'pain.after', 'pain.scale', 'infectionSigns', 'trend', 'packing.placed', 'complications',
  'tolerance', 'teaching.given', 'teaching.understood', 'plan.nextDue',
];
const lists = [
  'removed.state', 'edges', 'bed', 'periwound', 'spaces', 'cleansing', 'dressing', 'securement',
];
const whole = ['removed.label', 'size', 'label', 'order.repeat', 'performed'];

function words(path) {
  return path.replaceAll('.', ' ').replace(/[A-Z]/g, (letter) => ' ' + letter.toLowerCase());
}

const questions = new Map();
for (const path of [...single, ...lists, ...whole]) {
  const display = words(path);
  questions.set(path, {
    path,
    parts: path.split('.'),
    display,
    code: {
      coding: [
        { system: loinc, code: String(20000 + questions.size) + '-5', display: 'Wound ' + display },
        { system: base + '/CodeSystem/question', code: path, display: 'The ' + display },
      ],
    },
  });
}
const byCode = new Map([...questions].map(([path, question]) => [path, question]));
const partCodes = new Map();
function partCode(name) {
  let code = partCodes.get(name);
  if (code === undefined) {
    code = {
      coding: [
        { system: loinc, code: '72287-6', display: 'Wound ' + name },
        { system: base + '/CodeSystem/question', code: name, display: 'The ' + name },
      ],
    };
    partCodes.set(name, code);
  }
  return code;
}

const centimetres = new Map([['cm', 1], ['mm', 0.1], ['[in_i]', 2.54]]);

function uuid(space, name) {
  const hash = createHash('sha1').update(space).update(name).digest();
  hash[6] = (hash[6] & 0x0f) | 0x50;
  hash[8] = (hash[8] & 0x3f) | 0x80;
  const hex = hash.toString('hex', 0, 16);
  return { bytes: hash.subarray(0, 16),
    text: `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}` };
}
const urlSpace = Buffer.from('6ba7b8119dad11d180b400c04fd430c8', 'hex');

function identity(record) {
  const root = uuid(urlSpace, record.source.system);
  const patient = uuid(root.bytes, `patient ${record.patient.system} ${record.patient.id}`);
  const wound = uuid(patient.bytes, `wound ${record.wound.id}`);
  const visit = uuid(wound.bytes, `visit ${record.id}`);
  return { wound, visit };
}

const escapes = { '&': '&amp;', '<': '&lt;', '>': '&gt;', '"': '&quot;' };
const escaped = (text) => text.replace(/[&<>"]/g, (letter) => escapes[letter]);

function plain(value) {
  if (value === null || typeof value !== 'object') return String(value);
  if ('unit' in value) return `${value.value} ${value.unit}`;
  return Object.entries(value).map(([name, inside]) => `${words(name)} ${plain(inside)}`).join('; ');
}

// The member that holds a value: valueQuantity, valueInteger, …
function valued(into, value) {
  if (typeof value === 'boolean') into.valueBoolean = value;
  else if (typeof value === 'number') into.valueInteger = value;
  else if (typeof value === 'string') {
    if (/^\d{4}-/.test(value)) into.valueDateTime = value;
    else into.valueCodeableConcept = {
      coding: [
        { system: sct, code: '399488007', display: value },
        { system: base + '/CodeSystem/answer', code: value, display: words(value) },
      ],
    };
  } else if ('unit' in value) {
    const factor = centimetres.get(value.unit);
    if (factor !== undefined && value.unit !== 'cm') {
      into.valueQuantity = { extension: [{ url: base + '/StructureDefinition/charted-quantity', valueQuantity: {
        value: value.value, unit: value.unit, system: 'http://unitsofmeasure.org', code: value.unit } }],
        value: Number((value.value * factor).toPrecision(12)), unit: 'cm', system: 'http://unitsofmeasure.org',
        code: 'cm' };
    } else {
      into.valueQuantity = {
        value: value.value, unit: value.unit, system: 'http://unitsofmeasure.org', code: value.unit };
    }
  } else {
    into.component = [];
    components(into.component, '', value);
  }
}

function components(list, prefix, group) {
  for (const name in group) {
    const inside = group[name];
    if (inside !== null && typeof inside === 'object' && !('unit' in inside)) {
      components(list, prefix + name + '.', inside);
      continue;
    }
    const component = { code: partCode(prefix + name) };
    valued(component, inside);
    list.push(component);
  }
}

function find(record, parts) {
  let at = record;
  for (const part of parts) {
    if (at === undefined || at === null) return undefined;
    at = at[part];
  }
  return at;
}

function convert(text) {
  const record = JSON.parse(text);
  const { wound, visit } = identity(record);
  const entries = [];
  const members = [];
  const visitReference = [{ reference: 'urn:uuid:' + visit.text }];
  const subject = { identifier: { system: record.patient.system, value: record.patient.id } };
  const encounter = { identifier: { system: record.encounter.system, value: record.encounter.id } };
  const focus = [{ reference: 'urn:uuid:' + wound.text }];
  const performer = record.performer.map((one) => ({ identifier: { value: one.id } }));
  const [, date, clock, zone] = /^(.{10})T(\d\d:\d\d)(.*)$/.exec(record.performed.start);
  const effective = `${date}T${clock}:00${zone}`;
  const minute = { extension: [{ url: base + '/StructureDefinition/charted-precision', valueCode: 'minute' }] };
  const add = (question, key, value) => {
    const made = uuid(visit.bytes, key);
    const resource = {
      resourceType: 'Observation',
      text: {
        status: 'generated',
        div: `<div xmlns="http://www.w3.org/1999/xhtml"><p>${escaped(question.display)}: ${escaped(plain(value))}</p></div>`,
      },
      identifier: [{ system: record.source.system, value: `${record.id}#${key}` }],
      partOf: visitReference,
      status: record.status,
      category: [exam],
      code: question.code,
      subject,
      focus,
      encounter,
      effectiveDateTime: effective,
      _effectiveDateTime: minute,
      performer,
    };
    valued(resource, value);
    members.push({ reference: 'urn:uuid:' + made.text });
    entries.push({
      fullUrl: 'urn:uuid:' + made.text,
      resource,
      request: {
        method: 'PUT',
        url: `Observation?identifier=${encodeURIComponent(record.source.system)}%7C${encodeURIComponent(`${record.id}#${key}`)}`,
      },
    });
  };
  for (const path of single) {
    const question = questions.get(path);
    const value = find(record, question.parts);
    if (value !== undefined) add(question, path, value);
  }
  for (const path of whole) {
    const question = questions.get(path);
    const value = find(record, question.parts);
    if (value !== undefined) add(question, path, value);
  }
  for (const path of lists) {
    const question = questions.get(path);
    const value = find(record, question.parts);
    if (Array.isArray(value)) value.forEach((one, index) => add(question, `${path}.${index}`, one));
    else if (value !== undefined) add(question, path, value);
  }
  entries.unshift({
    fullUrl: 'urn:uuid:' + visit.text,
    resource: {
      resourceType: 'Procedure',
      identifier: [{ system: record.source.system, value: record.id }],
      status: record.performed.outcome,
      subject,
      encounter,
      performedDateTime: effective,
      reasonReference: members,
    },
    request: {
      method: 'PUT',
      url: `Procedure?identifier=${encodeURIComponent(record.source.system)}%7C${encodeURIComponent(record.id)}`,
    },
  });
  return JSON.stringify({ resourceType: 'Bundle', type: 'transaction', entry: entries });
}

function valueOf(from) {
  if (from.valueCodeableConcept) return from.valueCodeableConcept.coding[1].code;
  if (from.valueQuantity) {
    const charted = from.valueQuantity.extension?.[0].valueQuantity ?? from.valueQuantity;
    return { value: charted.value, unit: charted.unit };
  }
  if (from.component) {
    const group = {};
    for (const component of from.component) put(group, component.code.coding[1].code.split('.'), valueOf(component));
    return group;
  }
  return from.valueInteger ?? from.valueBoolean ?? from.valueDateTime;
}

function put(object, parts, value) {
  let at = object;
  for (let i = 0; i + 1 < parts.length; ++i) at = at[parts[i]] ??= {};
  at[parts[parts.length - 1]] = value;
}

// The values from their homes; the copies beside them must agree with the visit's own.
function back(text) {
  const bundle = JSON.parse(text);
  const record = {};
  let visit;
  for (const { resource } of bundle.entry) {
    if (resource.resourceType === 'Procedure') visit = resource;
  }
  record.id = visit.identifier[0].value;
  record.source = { system: visit.identifier[0].system };
  record.patient = visit.subject.identifier;
  record.encounter = visit.encounter.identifier;
  const subject = JSON.stringify(visit.subject);
  const query = `?identifier=${encodeURIComponent(record.source.system)}%7C`;
  let differences = 0;
  for (const entry of bundle.entry) {
    const { resource } = entry;
    if (resource === visit) continue;
    const own = resource.code.coding.find((one) => one.system === base + '/CodeSystem/question');
    const question = byCode.get(own.code);
    const key = resource.identifier[0].value;
    const name = key.slice(key.lastIndexOf('#') + 1);
    const value = valueOf(resource);
    const index = name.length > question.path.length ? Number(name.slice(question.path.length + 1)) : -1;
    if (index < 0) put(record, question.parts, value);
    else {
      const list = find(record, question.parts) ?? [];
      list[index] = value;
      put(record, question.parts, list);
    }
    if (entry.request.url !== `Observation${query}${encodeURIComponent(key)}`) ++differences;
    if (JSON.stringify(resource.subject) !== subject) ++differences;
    if (resource.effectiveDateTime !== visit.performedDateTime) ++differences;
    const div = `<div xmlns="http://www.w3.org/1999/xhtml"><p>${escaped(question.display)}: ${escaped(plain(value))}</p></div>`;
    if (resource.text.div !== div) ++differences;
  }
  if (differences > 0) throw new Error('the copies differ');
  return record;
}

const records = readFileSync(process.argv[2], 'utf8').split('\n').filter((line) => line !== '');
const bundles = records.map(convert);
const size = bundles.reduce((sum, bundle) => sum + Buffer.byteLength(bundle), 0) / bundles.length;
let kept = 0;

// Judges of tests/interop that hold Bundles against HL7's definitions, where they are installed. Each does a
// part of what strict reading does.
const strict = process.argv[3] === undefined ? [] : readFileSync(process.argv[3], 'utf8').split('\n').filter((line) => line !== '');
const judges = [];
for (const name of strict.length === 0 ? [] : ['json_schema', 'structure']) {
  try {
    judges.push((await import(`../interop/fhir-r4/judges/${name}.js`)).judge);
  } catch (error) {
    if (error.code !== 'ERR_MODULE_NOT_FOUND') throw error;
  }
}
const judge = (judged) => (text) => {
  const problems = judged({ json: JSON.parse(text) });
  if (problems.length !== 0) throw new Error(problems[0]);
  return text;
};
for (const one of judges) timed(judge(one), strict, 1);

function timed(work, texts, rounds = 3) {
  const start = process.cpuUsage();
  for (let round = 0; round < rounds; ++round) {
    for (const text of texts) kept += work(text) === undefined ? 0 : 1;
  }
  const used = process.cpuUsage(start);
  return (used.user + used.system) / (rounds * texts.length);
}

// The compiler has seen everything before the first time counts.
for (let i = 0; i < 3; ++i) {
  timed(convert, records);
  timed(back, bundles);
}
createInterface({ input: process.stdin }).on('line', (word) => {
  if (word === 'size') console.log(size);
  else if (word === 'convert') console.log(timed(convert, records));
  else if (word === 'back') console.log(timed(back, bundles));
  else if (word === 'judge') console.log(judges.length === 0 ? -1 : Math.min(...judges.map((one) => timed(judge(one), strict, 1))));
});
