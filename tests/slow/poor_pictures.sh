#!/bin/sh
# Makes the table of docs/robustness.md: the shared sets' photos spoilt in every usual way, and measured. Takes about half an hour.
set -eu
cd "$(dirname "$0")/../.."
export SETS="${SETS:-cord-00,right-hand,grass-track}"
POOR="${POOR:-all}" cargo test --release --test it poor_pictures:: -- --include-ignored --nocapture
