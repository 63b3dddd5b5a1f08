#!/bin/sh
# Renders and measures benches drawn at random, 200 by default (BENCHES=40..60 picks others): the table of docs/accuracy.md.
set -eu
cd "$(dirname "$0")/../.."
BENCHES="${BENCHES:-0..200}" cargo test --release --test it variety:: -- --nocapture
