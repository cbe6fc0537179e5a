// An evaluation of unit codes of its own: whole numbers of any size, the other table, another way to read the grammar.

const gcd = (a, b) => {
  a = a < 0n ? -a : a;
  while (b) [a, b] = [b, a % b];
  return a;
};

export const fraction = (n, d = 1n) => {
  const g = gcd(n, d);
  return { n: n / g, d: d / g };
};
export const times = (a, b) => fraction(a.n * b.n, a.d * b.d);
export const over = (a, b) => fraction(a.n * b.d, a.d * b.n);
const power = (a, e) => (e < 0 ? power({ n: a.d, d: a.n }, -e) : fraction(a.n ** BigInt(e), a.d ** BigInt(e)));

/** "6.62607015e-34" as a fraction. */
export function decimal(text) {
  const [, sign, whole, part = '', exponent = '0'] = /^(-?)(\d+)(?:\.(\d+))?(?:e([+-]?\d+))?$/i.exec(text);
  const e = Number(exponent) - part.length;
  const digits = BigInt(whole + part) * (sign ? -1n : 1n);
  return e < 0 ? fraction(digits, 10n ** BigInt(-e)) : fraction(digits * 10n ** BigInt(e));
}

/** The fraction rounded half-even to that many significant digits, as plain text without superfluous zeros. */
export function rounded({ n, d }, significant = 17) {
  if (n === 0n) return '0';
  let exponent = n.toString().length - d.toString().length - significant;
  const digitsAt = (e) => (e < 0 ? [n * 10n ** BigInt(-e), d] : [n, d * 10n ** BigInt(e)]);
  let [a, b] = digitsAt(exponent);
  while (a / b >= 10n ** BigInt(significant)) [a, b] = digitsAt(++exponent);
  while (a / b < 10n ** BigInt(significant - 1)) [a, b] = digitsAt(--exponent);
  let q = a / b;
  const rest = 2n * (a % b);
  if (rest > b || (rest === b && q % 2n === 1n)) ++q;
  let text = q.toString();
  if (exponent >= 0) return text + '0'.repeat(exponent);
  text = text.padStart(1 - exponent, '0');
  return `${text.slice(0, exponent)}.${text.slice(exponent)}`.replace(/\.?0+$/, '');
}

/** Evaluates codes over a table {symbol: {metric, value, unit, base}} and prefixes {symbol: value text}. */
export class Evaluator {
  constructor(atoms, prefixes) {
    this.atoms = atoms;
    this.prefixes = prefixes;
    this.known = new Map();
  }

  atom(symbol) {
    if (this.known.has(symbol)) return this.known.get(symbol);
    const row = this.atoms[symbol];
    let unit;
    if (row.base) {
      unit = { factor: fraction(1n), pis: 0, powers: { [symbol]: 1 } };
    } else {
      unit = this.code(row.unit);
      unit = row.value === 'pi' ? { ...unit, pis: unit.pis + 1 } : { ...unit, factor: times(unit.factor, decimal(row.value)) };
      if (row.arbitrary && Object.keys(unit.powers).length === 0) unit.powers = { [symbol]: 1 };
    }
    this.known.set(symbol, unit);
    return unit;
  }

  symbol(text) {
    const stem = /^(.*?)([+-]?\d+)?$/s.exec(text);
    const exponent = Number(stem[2] ?? '1');
    let scale = fraction(1n);
    let name = stem[1];
    if (!this.atoms[name]) {
      const prefix = Object.keys(this.prefixes).find((p) => name.startsWith(p) && this.atoms[name.slice(p.length)]?.metric);
      if (prefix === undefined) throw new Error(`unknown: ${text}`);
      scale = decimal(this.prefixes[prefix]);
      name = name.slice(prefix.length);
    }
    const unit = this.atom(name);
    const powers = Object.fromEntries(Object.entries(unit.powers).map(([s, e]) => [s, e * exponent]));
    return { factor: power(times(unit.factor, scale), exponent), pis: unit.pis * exponent, powers };
  }

  /** Splits at operators outside brackets, working from the last one: a/b.c is (a/b).c. */
  code(text) {
    if (text === '') return { factor: fraction(1n), pis: 0, powers: {} };
    let depth = 0;
    for (let i = text.length - 1; i >= 0; --i) {
      if (')]}'.includes(text[i])) ++depth;
      if ('([{'.includes(text[i])) --depth;
      if (depth === 0 && (text[i] === '.' || text[i] === '/')) {
        return this.join(this.code(text.slice(0, i)), this.code(text.slice(i + 1)), text[i] === '/' ? -1 : 1);
      }
    }
    if (text.startsWith('(')) return this.code(text.slice(1, text.lastIndexOf(')')));
    const plain = text.replace(/\{[^}]*\}$/, '');
    if (plain === '') return { factor: fraction(1n), pis: 0, powers: {} };
    if (/^\d+$/.test(plain)) return { factor: fraction(BigInt(plain)), pis: 0, powers: {} };
    return this.symbol(plain);
  }

  join(a, b, sign) {
    const powers = { ...a.powers };
    for (const [s, e] of Object.entries(b.powers)) powers[s] = (powers[s] ?? 0) + sign * e;
    for (const s of Object.keys(powers)) if (powers[s] === 0) delete powers[s];
    return { factor: sign > 0 ? times(a.factor, b.factor) : over(a.factor, b.factor), pis: a.pis + sign * b.pis, powers };
  }
}

export const canonical = (powers) =>
  Object.keys(powers)
    .sort((a, b) => (a < b ? -1 : 1))
    .map((s) => (powers[s] === 1 ? s : s + powers[s]))
    .join('.') || '1';
