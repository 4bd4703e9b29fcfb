#!/usr/bin/env bash
# Makes the pictures and the accuracy page of this folder: docs/make.sh [pictures|accuracy].
# Pictures need Debian's chromium; accuracy needs ../shared/data.
# docs/make.sh speed draws linear.svg and prints its table: run it on a quiet machine (some minutes).
set -euo pipefail
cd "$(dirname "$0")/.."
what=${1:-all}
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

if [ "$what" = speed ]; then
  for n in 1000 3000 10000 30000 100000; do # a process each, so that the peak of memory is its own
    go test -run xxx -bench "BenchmarkJoint$n\$" -benchmem ./internal/technique/joint
  done | tee /dev/stderr | go run ./cmd/speed -svg docs/linear.svg
  exit
fi
if [ "$what" != accuracy ]; then
  CGO_ENABLED=0 go build -o "$work/pochette" ./cmd/pochette
  "$work/pochette" demo -q -o "$work/jig"
  "$work/pochette" engrave "$work/jig/part.musicxml" -o docs/part.png --dpi 90
  chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --no-first-run \
    --disable-background-networking --user-data-dir="$work/chromium" \
    --window-size=820,1500 --screenshot=docs/report.png "file://$work/jig/report.html" >/dev/null 2>&1
fi
if [ "$what" != pictures ]; then
  {
    echo "# Accuracy against published data"
    echo
    echo "Made by \`docs/make.sh accuracy\` (\`go run ./cmd/accuracy\`) from the shared data; sources are named with each table. Scores only; no data is published here."
    echo
    go run ./cmd/accuracy
  } > "$work/ACCURACY.md"
  mv "$work/ACCURACY.md" docs/ACCURACY.md
fi
