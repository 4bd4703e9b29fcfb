// Takes the engraver's WebAssembly out of the JavaScript module it is packed in.
//
//   node extract.mjs path/to/verovio-module.mjs out-folder
//
// writes out-folder/engraver.wasm (the bytes the module itself hands to
// WebAssembly.instantiate, unchanged) and out-folder/names.txt: the build gives
// its imports and exports one-letter names, and the JavaScript around it maps
// them to the real ones. A line of names.txt is "import|export letter name".
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [modulePath, outDir] = process.argv.slice(2);
if (!modulePath || !outDir) {
  console.error("usage: node extract.mjs verovio-module.mjs out-folder");
  process.exit(2);
}

let wasm;
const instantiate = WebAssembly.instantiate;
WebAssembly.instantiate = (source, imports) => {
  if (!(source instanceof WebAssembly.Module)) wasm = Buffer.from(source);
  return instantiate.call(WebAssembly, source, imports);
};
const factory = (await import(pathToFileURL(path.resolve(modulePath)))).default;
await factory();

const text = fs.readFileSync(modulePath, "utf8");
const lines = [];

const imports = /wasmImports=\{([^}]*)\}/.exec(text)[1];
for (const [, letter, name] of imports.matchAll(/([\w$]+):([\w$]+)/g))
  lines.push(`import ${letter} ${name.replace(/^_+/, "")}`);

const start = text.indexOf("function assignWasmExports");
const body = text.slice(start, text.indexOf("}", start));
for (const [, name, letter] of body.matchAll(/([\w$]+)(?:"\])?=wasmExports\["([^"]+)"\]/g))
  if (letter !== "__indirect_function_table")
    lines.push(`export ${letter} ${name === "wasmMemory" ? "memory" : name.replace(/^_+/, "")}`);
const init = /wasmExports\["([^"]+)"\]\(\);FS\.ignorePermissions/.exec(text)[1];
lines.push(`export ${init} wasm_call_ctors`);

// Every import and export must have found its name, or the pattern no longer fits the build.
const mod = await WebAssembly.compile(wasm);
const known = new Set(lines.map((l) => l.split(" ").slice(0, 2).join(" ")));
for (const [kind, list] of [["import", WebAssembly.Module.imports(mod)], ["export", WebAssembly.Module.exports(mod)]])
  for (const { name } of list)
    if (!known.has(`${kind} ${name}`)) throw new Error(`no name found for ${kind} ${name}`);

fs.writeFileSync(path.join(outDir, "engraver.wasm"), wasm);
fs.writeFileSync(path.join(outDir, "names.txt"), lines.sort().join("\n") + "\n");
