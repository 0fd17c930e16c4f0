// JSON by its schemas, in the strict mode of ajv, and JCAMP-DX by a decoder of the npm registry.
//
//     node strict.cjs FOLDER-WITH-node_modules schemas SCHEMAS-FOLDER [SCHEMA DOCUMENT]…
//     node strict.cjs FOLDER-WITH-node_modules decode FILE
//
// The first compiles every schema and tells, as JSON, what is wrong with them and with the documents; the second prints the
// curves of a file as JSON.
"use strict";

const fs = require("node:fs");
const path = require("node:path");
const { createRequire } = require("node:module");

const [folder, work, ...words] = process.argv.slice(2);
const there = createRequire(path.join(path.resolve(folder), "package.json"));

if (work === "schemas") {
  const Ajv = there("ajv/dist/2020").default;
  const formats = there("ajv-formats").default;
  const wrong = [];
  const [schemas, ...pairs] = words;
  const compiled = new Map();
  for (const name of fs.readdirSync(schemas).filter((name) => name.endsWith(".json")).sort()) {
    try {
      const ajv = new Ajv({ strict: true, allErrors: true });
      formats(ajv);
      compiled.set(name, ajv.compile(JSON.parse(fs.readFileSync(path.join(schemas, name), "utf8"))));
    } catch (error) {
      wrong.push(`${name}: ${error.message}`);
    }
  }
  for (let at = 0; at + 1 < pairs.length; at += 2) {
    const validate = compiled.get(pairs[at]);
    const text = fs.readFileSync(pairs[at + 1], "utf8");
    const documents = pairs[at + 1].endsWith(".jsonl") ? text.split("\n").filter(Boolean) : [text];
    for (const document of documents) {
      if (validate && !validate(JSON.parse(document))) {
        wrong.push(`${pairs[at + 1]}: ${JSON.stringify(validate.errors[0])}`);
        break;
      }
    }
  }
  console.log(JSON.stringify({ schemas: [...compiled.keys()], wrong }));
} else {
  const { convert } = there("jcampconverter");
  const read = convert(fs.readFileSync(words[0], "utf8"), { keepRecordsRegExp: /^$/, noContour: true });
  const curves = read.flatten.flatMap((entry) => (entry.spectra ?? []).map((one) => ({ x: [...one.data.x], y: [...one.data.y] })));
  console.log(JSON.stringify(curves));
}
