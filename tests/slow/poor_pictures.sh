#!/bin/sh
# Prints a table of what spoilt photos still tell: the shared sets' photos spoilt in every usual way, and measured. Takes about half an hour.
set -eu
cd "$(dirname "$0")/../.."
export SETS="${SETS:-cord-00,right-hand,grass-track}"
POOR="${POOR:-all}" cargo test --release --test it poor_pictures:: -- --include-ignored --nocapture
