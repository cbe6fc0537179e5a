// Does what mappings/README.md says under "A layout of your own" and "A draft of other files", in the folder given, with
// the program `charpie` on the path, and compares each output that the page shows ("…" stands for lines left out). Silent
// when all agree.
import { spawnSync } from "node:child_process";
import { readFileSync, rmSync, symlinkSync, writeFileSync } from "node:fs";
import { join } from "node:path";

const root = process.cwd();
const page = readFileSync(join(root, "mappings/README.md"), "utf8");
const under = (heading) => page.split(`### ${heading}\n`)[1].split("\n### ")[0];
const section = under("A layout of your own");
process.chdir(process.argv[2]);
symlinkSync(join(root, "samples"), "samples");

function fail(why) {
  console.error("the page and the program disagree: " + why);
  process.exit(1);
}
function run(command) {
  const [program, ...words] = command.trim().split(/\s+/);
  return spawnSync(program, words, { encoding: "utf8" }).stdout;
}
function compare(shown, actual) {
  let at = 0;
  for (const piece of shown.split("…\n")) {
    const wanted = piece.trimEnd();
    const found = actual.indexOf(wanted, at);
    if (found < 0) fail("not in the output:\n" + wanted + "\nbut:\n" + actual);
    at = found + wanted.length;
  }
}

let edited = 0;
let output = "";
let pending;
for (const [, text, kind, code] of section.matchAll(/([\s\S]*?)```(\w*)\n([\s\S]*?)```/g)) {
  const sentence = text.trim().split("\n\n").at(-1);
  if (kind === "sh") {
    output = run(code);
  } else if (sentence.endsWith("replace")) {
    pending = { name: sentence.match(/In `([^`]+)`/)[1], old: code };
  } else if (sentence === "with") {
    const content = readFileSync(pending.name, "utf8");
    if (content.split(pending.old).length !== 2) fail(pending.name + " does not hold once:\n" + pending.old);
    writeFileSync(pending.name, content.split(pending.old).join(code));
    edited += code.trimEnd().split("\n").length;
  } else {
    const command = sentence.match(/`(charpie [^`]+)`/);
    if (command) output = run(command[1]);
    compare(code, output);
  }
}
if (edited >= 30) fail("that are " + edited + " lines of edits");
const through = run("charpie roundtrip samples/brookfield.csv --from site:./brookfield --through fhir-r4");
if (!through.includes("3 came back the same")) fail(through);
for (const [, command, shown] of under("A draft of other files").matchAll(/```\n\$ (.*)\n([\s\S]*?)```/g)) {
  compare(shown, run(command));
  rmSync("own", { recursive: true });
}
