#!/bin/sh
# Makes the table of rendered jobs of docs/accuracy.md: JOBS of them (a dozen unless told otherwise). Takes some minutes.
set -eu
cd "$(dirname "$0")/../.."
told=$(mktemp)
trap 'rm -f "$told"' EXIT
JOBS=${JOBS:-12} cargo test --release --test it rendered_job:: -- --nocapture | tee "$told"
sh tests/slow/insert.sh "rendered jobs" "$told"
