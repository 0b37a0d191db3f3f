// The floor of memory: a process that has loaded the libraries which a source file and all that it imports load, as they were
// installed, and does nothing. The sources themselves are read for what they import, and not loaded.
import { readFileSync } from 'node:fs';
import { pathToFileURL } from 'node:url';

const entry = pathToFileURL(process.argv[2]);
const imports = /^(?:import|export)\s+(?!type\s)(?:[\w$*{}\s,]+\sfrom\s+)?['"]([^'"]+)['"]/gm;
const seen = new Set();
const libraries = new Set();

function follow(file) {
  if (seen.has(file.href)) return;
  seen.add(file.href);
  for (const [, name] of readFileSync(file, 'utf8').matchAll(imports)) {
    if (/^\.{1,2}\//.test(name)) follow(new URL(name, file));
    else libraries.add(name);
  }
}

follow(entry);
for (const name of libraries) {
  await import(name);
}
process.on('message', () => process.send([...libraries].sort()));
setInterval(() => {}, 2 ** 30);
process.send('ready');
