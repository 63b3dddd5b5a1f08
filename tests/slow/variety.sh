#!/bin/sh
# Renders and measures benches drawn at random, 200 unless BENCHES says otherwise (as in BENCHES=40..60): the table of docs/accuracy.md.
set -eu
cd "$(dirname "$0")/../.."
BENCHES="${BENCHES:-0..200}" cargo test --release --test it variety:: -- --nocapture
