// Units: every Quantity under UCUM has a code that @lhncbc/ucum-lhc accepts, and a translation of the charted
// quantity (extension iso21090-PQ-translation) is the same amount in the other unit.
import { UcumLhcUtils } from '@lhncbc/ucum-lhc';
import { resourcesOf, walk } from '../bundles.js';

export const name = 'units and conversions, by ucum-lhc';
export const breaks = [
  ['a unit that UCUM does not have', (b) => { quantity(b).code = 'inches'; }],
  ['centimetres taken for inches', (b) => { translated(b).value = 3 * translated(b).value; }],
];

const ucum = UcumLhcUtils.getInstance();
const translation = 'http://hl7.org/fhir/StructureDefinition/iso21090-PQ-translation';
const quantities = (bundle) => {
  const all = [];
  for (const resource of resourcesOf(bundle)) {
    walk(resource, (value) => { if (value?.system === 'http://unitsofmeasure.org') all.push(value); });
  }
  return all;
};
const quantity = (bundle) => quantities(bundle)[0];
const translated = (bundle) => quantities(bundle).find((one) => one.extension?.some((e) => e.url === translation));

export const looked = new Map();
const bump = (kind) => looked.set(kind, (looked.get(kind) ?? 0) + 1);
const valid = new Map();

export function judge({ json }) {
  const problems = [];
  for (const resource of resourcesOf(json)) {
    walk(resource, (value, path) => {
      if (value?.system !== 'http://unitsofmeasure.org' || value.code === undefined) return;
      bump('quantities');
      if (!valid.has(value.code)) valid.set(value.code, ucum.validateUnitString(value.code).status === 'valid');
      if (!valid.get(value.code)) return problems.push(`${path}: UCUM has no unit ${value.code}`);
      for (const extension of value.extension ?? []) {
        if (extension.url !== translation) continue;
        bump('translations');
        const other = extension.valueQuantity;
        const answer = ucum.convertUnitTo(other.code, other.value, value.code);
        // ucum-lhc counts in binary, and takes some factors to seven digits only.
        const near = Math.abs(answer.toVal - value.value) <= 1e-6 * Math.abs(value.value);
        if (answer.status !== 'succeeded' || !near) {
          problems.push(`${path}: ${other.value} ${other.code} is ${answer.toVal} ${value.code}, not ${value.value}`);
        }
      }
    });
  }
  return problems;
}
