#!/bin/sh
# Tests the preview page in a real Chromium (Debian package `chromium`), driven by playwright-core.
# Usage: tests/browser/run.sh [PROGRAM]   (default: target/release/bladewright)
# Everything it installs and writes goes into a temporary folder; with SHOTS=FOLDER it leaves
# screenshots there to be looked at. Exits with 1 when a test fails.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
program=${1:-"$here/../../target/release/bladewright"}
command -v chromium >/dev/null || { echo "chromium is missing: apt-get install chromium" >&2; exit 1; }
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
cp "$here"/package.json "$here"/*.mjs "$folder"
(cd "$folder" && npm install --silent --no-audit --no-fund)
PROGRAM=$(realpath "$program") DEMO=$(realpath "$here/../../demo") WORK="$folder" \
  node "$folder/run.mjs"
