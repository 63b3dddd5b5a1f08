#!/bin/sh
# Makes the coverage tables of docs/accuracy.md: SEEDS jobs (1000 by default), twice. Takes about an hour on two cores.
set -eu
cd "$(dirname "$0")/../.."
printed=$(mktemp)
trap 'rm -f "$printed"' EXIT
for which in standard hurried; do
    SEEDS=${SEEDS:-1000} cargo test --release --test it uncertainty::"$which" -- --nocapture | tee "$printed"
    sh tests/slow/insert.sh "coverage $which" "$printed"
done
