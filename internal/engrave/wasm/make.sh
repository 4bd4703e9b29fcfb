#!/bin/sh
# Remakes engraver.wasm.gz and names.txt from the npm package verovio 6.0.1 and checks them.
# Needs node, npm, gzip, sha256sum. Run it in this folder.
set -eu
cd "$(dirname "$0")"
here=$(pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

package_sha256=2ce67c38d451749e660741037f8c3350af6882d2afc3d2e55a41598f5930d804
wasm_sha256=d7fb732fdb42e0381137a24e0d07ee73c5eb2a1c0115b95018884803c7d4df9b

cd "$work"
npm pack --silent verovio@6.0.1 >/dev/null
echo "$package_sha256  verovio-6.0.1.tgz" | sha256sum -c -
tar xzf verovio-6.0.1.tgz
node "$here/extract.mjs" package/dist/verovio-module.mjs "$work"
echo "$wasm_sha256  engraver.wasm" | sha256sum -c -
gzip -9 -n -c engraver.wasm >"$here/engraver.wasm.gz"
cp names.txt "$here/names.txt"
