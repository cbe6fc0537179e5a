// Reading and walking what the judges look at.
import { readFileSync } from 'node:fs';

/// The lines of an NDJSON file, each as {text, json}.
export function readLines(file) {
  return readFileSync(file, 'utf8')
    .split('\n')
    .filter((line) => line.trim() !== '')
    .map((text) => ({ text, json: JSON.parse(text) }));
}

/// The resources of a Bundle; a resource that is no Bundle is its own only one.
export function resourcesOf(json) {
  return json.resourceType === 'Bundle' ? (json.entry ?? []).map((entry) => entry.resource) : [json];
}

/// The first resource of a Bundle that `fits`. A Bundle without one is not the place to plant that fault: throws.
export function first(bundle, fits) {
  const found = resourcesOf(bundle).find(fits);
  if (!found) throw new Error('no resource fits');
  return found;
}

/// The Observation that stands for the whole visit.
export const panel = (bundle) => first(bundle, (one) => one.resourceType === 'Observation' && one.hasMember);

/// Calls visit(value, path, name) for each object, array and primitive below `json`, itself included.
export function walk(json, visit, path = json.resourceType ?? '', name = '') {
  visit(json, path, name);
  if (Array.isArray(json)) {
    json.forEach((one, index) => walk(one, visit, `${path}[${index}]`, name));
  } else if (json !== null && typeof json === 'object') {
    for (const [member, value] of Object.entries(json)) walk(value, visit, `${path}.${member}`, member);
  }
}

// Every string or number token of a JSON text, in order. Digits are looked at here, in the text: JSON.parse
// turns 4.00 into 4.
const tokens = /"(?:[^"\\]|\\.)*"|-?\d[0-9.eE+-]*/g;

/// Parses JSON with each number as {"number": token}, so that two texts can be compared digit by digit.
export function parseExactly(text) {
  return JSON.parse(text.replace(tokens, (token) => (token[0] === '"' ? token : `{"number":"${token}"}`)));
}

/// Replaces each number that JSON.parse and JSON.stringify would change by a number that they keep (the same one for
/// the same digits), and gives the way back. For programs that hold numbers in binary.
export class NumberCover {
  #covers = new Map();
  #tokens = new Map();
  cover(text) {
    return text.replace(tokens, (token) => {
      if (token[0] === '"' || String(Number(token)) === token) return token;
      if (!this.#covers.has(token)) {
        const cover = String(700000000000000 + this.#covers.size);
        this.#covers.set(token, cover);
        this.#tokens.set(cover, token);
      }
      return this.#covers.get(token);
    });
  }
  uncover(text) {
    return text.replace(tokens, (token) => this.#tokens.get(token) ?? token);
  }
}
