#!/bin/sh
# Makes the coverage tables of docs/accuracy.md: SEEDS jobs (1000 unless told otherwise), twice. Takes about an hour on two cores.
set -eu
cd "$(dirname "$0")/../.."
told=$(mktemp)
trap 'rm -f "$told"' EXIT
for which in standard hurried; do
    SEEDS=${SEEDS:-1000} cargo test --release --test it uncertainty::"$which" -- --nocapture | tee "$told"
    sh tests/slow/insert.sh "coverage $which" "$told"
done
