// Makes leipzig.txt.gz: the outlines and advances of the engraver's music font,
// taken from the engraver's own data, so that music symbols inside text can be
// drawn without the font file.
//
//   npm pack verovio@6.0.1 && tar xf verovio-6.0.1.tgz && node make.mjs package/dist/verovio-module.mjs
//
// One line for each symbol: code point in hexadecimal, advance in 1/1000 em,
// SVG path data with y upwards.
import fs from 'node:fs';
import path from 'node:path';
import { createHash } from 'node:crypto';
import { gzipSync } from 'node:zlib';
import { pathToFileURL } from 'node:url';

const [module] = process.argv.slice(2);
const want = 'd7fb732fdb42e0381137a24e0d07ee73c5eb2a1c0115b95018884803c7d4df9b';

let wasm;
const instantiate = WebAssembly.instantiate;
WebAssembly.instantiate = (bytes, imports) => { wasm = bytes; return instantiate(bytes, imports); };
await (await import(pathToFileURL(path.resolve(module)))).default();
const sum = createHash('sha256').update(new Uint8Array(wasm.buffer ?? wasm)).digest('hex');
if (sum !== want) throw new Error(`wasm of another release: sha256 ${sum}`);

const all = Buffer.from(wasm.buffer ?? wasm).toString('latin1');
const from = all.indexOf('/data/Leipzig.xml\0');
const data = all.slice(from, all.indexOf('/data/Leland.css\0', from));
const advance = new Map();
for (const [, c, a] of data.matchAll(/<g c="([0-9A-F]+)"[^>]* h-a-x="([0-9.]+)"/g)) advance.set(c, a);
const lines = [];
for (const [, c, d = ''] of data.matchAll(/<g id="([0-9A-F]+)"(?: \/>|><path transform="scale\(1,-1\)" d="([^"]*)" ?\/><\/g>)/g)) {
  if (!advance.has(c)) throw new Error(`no advance for ${c}`);
  lines.push(`${c} ${advance.get(c)} ${d}`);
}
lines.sort();
fs.writeFileSync(new URL('leipzig.txt.gz', import.meta.url), gzipSync(lines.join('\n') + '\n', { level: 9 }));
console.log(`${lines.length} symbols`);
