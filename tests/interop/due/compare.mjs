// Due times against another program's arithmetic: Node's Intl and Date, with the time zones of its own ICU data.
// Nothing of the arithmetic below is shared with the program under test.
//
//   node compare.mjs CHARPIE CASES [COUNT]    CASES = tests/cases/rules/due.ndjson; COUNT generated cases beside them
//
// Prints one line a difference and a line of counts; exit 1 when there is a difference.
import { execFileSync } from "node:child_process";
import { readFileSync, writeFileSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

const [charpie, casesFile, countText = "3000"] = process.argv.slice(2);
const minute = 60_000, hour = 60 * minute, day = 24 * hour;

// ---- the clock on the wall, by Intl ------------------------------------------------------------------------------
const formats = new Map();
function format(zone) {
  if (!formats.has(zone)) {
    formats.set(zone, new Intl.DateTimeFormat("en-US", {
      timeZone: zone, hourCycle: "h23", year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit", second: "2-digit",
    }));
  }
  return formats.get(zone);
}
// Milliseconds since 1970-01-01T00:00 of the wall's own clock. A zone that is a number is a fixed offset in minutes.
function wallOf(instant, zone) {
  if (typeof zone === "number") return instant + zone * minute;
  const part = Object.fromEntries(format(zone).formatToParts(instant).map((p) => [p.type, Number(p.value)]));
  return Date.UTC(part.year, part.month - 1, part.day, part.hour, part.minute, part.second);
}
// Instants whose wall clock says `wall`: none, one or two. Any offset is a multiple of 15 minutes, so all are tried.
function instantsOf(wall, zone) {
  if (typeof zone === "number") return [wall - zone * minute];
  const found = [];
  for (let offset = -13 * hour; offset <= 15 * hour; offset += 15 * minute) {
    if (wallOf(wall - offset, zone) === wall) found.push(wall - offset);
  }
  return found.sort((a, b) => a - b);
}
// The earlier of two; where there is none, the first instant after the gap.
function meet(wall, zone) {
  const found = instantsOf(wall, zone);
  if (found.length > 0) return { instant: found[0], note: found.length > 1 ? "comes twice" : "" };
  let later = wall;
  while (instantsOf(later, zone).length === 0) later += minute;
  return { instant: instantsOf(later, zone).at(-1), note: "does not come" };
}
const two = (n) => String(n).padStart(2, "0");
function text(instant, zone, withSeconds) {
  const wall = wallOf(instant, zone);
  const offset = (wall - instant) / minute;
  const size = Math.abs(offset);
  const end = offset === 0 ? "Z" : `${offset < 0 ? "-" : "+"}${two(Math.floor(size / 60))}:${two(size % 60)}`;
  return new Date(wall).toISOString().slice(0, withSeconds ? 19 : 16) + end;
}
const dayText = (wall) => new Date(wall).toISOString().slice(0, 10);

// ---- the order ---------------------------------------------------------------------------------------------------
function addMonths(wall, months) {
  const date = new Date(wall);
  const target = new Date(Date.UTC(date.getUTCFullYear(), date.getUTCMonth() + months, 1));
  const last = new Date(Date.UTC(target.getUTCFullYear(), target.getUTCMonth() + 1, 0)).getUTCDate();
  const midnight = Date.UTC(target.getUTCFullYear(), target.getUTCMonth(), Math.min(date.getUTCDate(), last));
  return midnight + (wall - Math.floor(wall / day) * day);
}
const elapsed = { s: 1000, min: minute, h: hour, d: day, wk: 7 * day };
// The site's own hours as they stand in mappings/rules/rules.csv.
const siteTimes = {
  "twice-daily": ["08:00", "20:00"], "three-times-daily": ["08:00", "14:00", "20:00"], "four-times-daily": ["08:00", "12:00", "16:00", "20:00"],
  "every-shift": ["07:00", "19:00"], morning: ["08:00"], afternoon: ["14:00"], evening: ["18:00"], bedtime: ["21:00"],
};
const weekdays = { weekdays: [1, 2, 3, 4, 5], "three-times-weekly": [1, 3, 5], "twice-weekly": [1, 4] };
const clock = (time) => Number(time.slice(0, 2)) * hour + Number(time.slice(3)) * minute;

function span(quantity, from, zone) {
  if (quantity.comparator) return null;
  const { value, unit } = quantity;
  if (!(value > 0)) return null;
  if (unit === "mo" || unit === "a") {
    if (!Number.isInteger(value)) return null;
    return from.hasClock ? meet(addMonths(from.wall, value * (unit === "a" ? 12 : 1)), zone) : { day: addMonths(from.wall, value * (unit === "a" ? 12 : 1)) };
  }
  if ((unit === "d" || unit === "wk") && Number.isInteger(value)) {
    const wall = from.wall + value * elapsed[unit];
    return from.hasClock ? meet(wall, zone) : { day: wall };
  }
  const milliseconds = value * elapsed[unit];
  if (!from.hasClock) return milliseconds % day === 0 ? { day: from.wall + milliseconds } : null;
  return { instant: from.instant + milliseconds, note: "" };
}

function due({ zone: named, start, repeat }) {
  const hasClock = start.length > 10;
  const offset = start.endsWith("Z") ? 0 : (start.at(-6) === "-" ? -1 : 1) * clock(start.slice(-5)) / minute;
  const zone = named ?? (hasClock ? offset : 0);
  const instant = Date.parse(hasClock ? start : start + "T00:00Z");
  const from = { hasClock, instant, wall: hasClock ? wallOf(instant, zone) : instant };
  const seconds = hasClock && /T\d\d:\d\d:\d\d/.test(start);
  const shown = (p, withSeconds) => (p.day !== undefined ? dayText(p.day) : text(p.instant, zone, withSeconds));
  const order = (p) => (p.day !== undefined ? Math.floor(p.day / day) * day : p.instant);

  const found = [];
  if (repeat.every) {
    const point = span(repeat.every, from, zone);
    if (!point) return { text: "not told" };
    found.push({ ...point, withSeconds: seconds });
  }
  if (repeat.slots || repeat.at) {
    if (repeat.slots?.text) return { text: "not told" };
    const times = [...(repeat.at ?? siteTimes[repeat.slots] ?? [])].sort();
    if (!hasClock && times.length > 1) return { text: "not told" };
    const firstDay = Math.floor(from.wall / day) * day;
    let earliest = from.instant;
    if (repeat.minimumGap && hasClock) earliest = span(repeat.minimumGap, from, zone).instant - 1;
    const fits = (midnight) => {
      if (weekdays[repeat.slots]) return weekdays[repeat.slots].includes(new Date(midnight).getUTCDay() || 7);
      const days = (midnight - firstDay) / day;
      if (repeat.slots === "every-other-day") return days > 0 && days % 2 === 0;
      if (repeat.slots === "weekly") return days > 0 && days % 7 === 0;
      if (repeat.slots === "monthly") return [1, 2, 3].some((n) => addMonths(firstDay, n) === midnight);
      return true;
    };
    search: for (let midnight = firstDay; ; midnight += day) {
      if (!fits(midnight)) continue;
      if (times.length === 0 || !hasClock) {
        if (midnight === firstDay) continue;
        found.push({ day: midnight });
        break;
      }
      for (const time of times) {
        const point = meet(midnight + clock(time), zone);
        if (point.instant > earliest) {
          found.push(point);
          break search;
        }
      }
    }
  }
  if (found.length === 0) return { text: repeat.asNeeded ? "as needed" : "" };
  const first = found.reduce((a, b) => (order(b) < order(a) ? b : a));
  return { text: shown(first, first.withSeconds), note: first.note ?? "" };
}

// ---- cases -------------------------------------------------------------------------------------------------------
// A small generator with a seed: the same cases on every machine (mulberry32).
let state = 20260302;
function random() {
  state = (state + 0x6d2b79f5) | 0;
  let t = Math.imul(state ^ (state >>> 15), 1 | state);
  t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
  return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
}
const pick = (list) => list[Math.floor(random() * list.length)];
// Zones whose rules have stood for years: the two programs may carry different releases of the zone data.
const zones = ["Europe/London", "America/Chicago", "Europe/Berlin", "Australia/Lord_Howe", "Australia/Sydney", "Asia/Kolkata", "America/St_Johns",
  "Pacific/Auckland", "Atlantic/Azores", "America/Santiago", "Asia/Kathmandu", "America/Phoenix"];
// The nights when clocks change, found by Intl itself: half of the cases begin within two days of one.
function changes(zone) {
  const found = [];
  const offset = (t) => wallOf(t, zone) - t;
  for (let t = Date.UTC(2026, 0, 1); t < Date.UTC(2029, 0, 1); t += day) if (offset(t) !== offset(t + day)) found.push(t);
  return found;
}
const nights = new Map(zones.map((zone) => [zone, changes(zone)]));
function generated(number) {
  const zone = pick(zones);
  const near = nights.get(zone);
  const about = near.length > 0 && random() < 0.5 ? pick(near) - 2 * day + random() * 3 * day : Date.UTC(2026, 0, 1) + random() * 3 * 365 * day;
  const instant = Math.floor(about / minute) * minute;
  const start = random() < 0.1 ? dayText(instant) : text(instant, zone, false);
  const nightly = random() < 0.3;  // hours in which clocks are changed
  const time = () => nightly ? `0${Math.floor(random() * 4)}:${pick(["00", "15", "30", "45"])}` : `${two(Math.floor(random() * 24))}:${pick(["00", "15", "30", "45", "10"])}`;
  const repeat = pick([
    () => ({ every: { value: 1 + Math.floor(random() * 90), unit: "h" } }),
    () => ({ every: { value: 1 + Math.floor(random() * 20), unit: "d" } }),
    () => ({ every: { value: 1 + Math.floor(random() * 4), unit: "wk" } }),
    () => ({ every: { value: 1 + Math.floor(random() * 14), unit: "mo" } }),
    () => ({ every: { value: 5 + Math.floor(random() * 600), unit: "min" } }),
    () => ({ at: [...new Set([time(), time(), time()])] }),
    () => ({ slots: pick(["daily", "twice-daily", "three-times-daily", "four-times-daily", "every-other-day", "morning", "afternoon", "evening", "bedtime",
      "weekly", "monthly", "every-shift", "twice-weekly", "three-times-weekly", "weekdays"]) }),
    () => ({ slots: pick(["every-other-day", "weekdays", "weekly", "monthly", "daily"]), at: [time()] }),
    () => ({ slots: "every-shift", minimumGap: { value: 1 + Math.floor(random() * 10), unit: "h" } }),
    () => ({ every: { value: 1 + Math.floor(random() * 3), unit: "d" }, at: [time()] }),
  ])();
  return { case: `generated ${number}`, zone, start, repeat };
}

const byHand = readFileSync(casesFile, "utf8").trim().split("\n").map((line) => JSON.parse(line));
const all = [...byHand];
for (let i = 0; i < Number(countText); ++i) all.push(generated(i));
const records = all.map((one, i) => ({
  format: "wound-visit/1", id: `C-${i}`, status: "final", source: { system: "https://invented.example/cases" }, patient: { id: "P-1" }, wound: { id: `${i}` },
  order: { repeat: one.repeat },
  performed: { kind: "dressing-change", outcome: "completed", start: one.start, ...(one.zone ? { zone: one.zone } : {}) },
}));
const folder = mkdtempSync(join(tmpdir(), "due-"));
const input = join(folder, "records.ndjson");
writeFileSync(input, records.map((record) => JSON.stringify(record)).join("\n") + "\n");
const output = execFileSync(charpie, ["due", "--as", "ndjson", input], { maxBuffer: 1 << 28, encoding: "utf8" });
rmSync(folder, { recursive: true });
const told = new Map(output.trim().split("\n").map((line) => JSON.parse(line)).map((row) => [row.record, row]));

let differences = 0, clockChanges = 0;
all.forEach((one, i) => {
  const here = due(one);
  const there = told.get(`C-${i}`) ?? { due: "" };
  const noted = !here.note || (there.note ?? "").includes(here.note);
  if (here.note) ++clockChanges;
  const expected = one.due === undefined || one.due === here.text;
  if (here.text === there.due && noted && expected) return;
  ++differences;
  console.log(`${one.case}: ${one.start} ${one.zone ?? ""} ${JSON.stringify(one.repeat)}: here ${here.text} (${here.note ?? ""}), there ${there.due} (${there.note ?? ""})` +
    (expected ? "" : `, by hand ${one.due}`));
});
console.log(`${all.length} due times, ${byHand.length} by hand; ${clockChanges} in an hour that comes twice or never; ${differences} differ ` +
  `(Node ${process.versions.node}, ICU zone data ${process.versions.tz})`);
process.exit(differences === 0 ? 0 : 1);
