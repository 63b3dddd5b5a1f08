#!/bin/sh
# Makes the table of rendered jobs of docs/accuracy.md: JOBS of them (a dozen by default). Takes some minutes.
set -eu
cd "$(dirname "$0")/../.."
printed=$(mktemp)
trap 'rm -f "$printed"' EXIT
JOBS=${JOBS:-12} cargo test --release --test it rendered_job:: -- --nocapture | tee "$printed"
sh tests/slow/insert.sh "rendered jobs" "$printed"
