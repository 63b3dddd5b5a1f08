#!/bin/sh
# Tries every choice of three photos a set-up of the shared sets' first nine. SETS and EACH (every n-th choice) may be given.
set -eu
cd "$(dirname "$0")/../.."
export SETS="${SETS:-cord-00,cord-01,cord-02,cord-03,riders-sun,riders-dusk,right-hand,grass-track,no-plumb,swing-arm}"
EACH="${EACH:-1}" cargo test --release --test it three_photos:: -- --include-ignored --nocapture
