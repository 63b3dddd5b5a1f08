#!/bin/sh
# Runs the tests that render whole jobs and that .ci/run leaves out for their time: about half an hour on two cores.
set -eu
cd "$(dirname "$0")/../.."
cargo test --release --test it slow_ -- --include-ignored
# What .ci/run tries on fewer sets of photos.
FLAT_SETS=grass-track:right-hand cargo test --release --test it flat_shared:: -- --include-ignored
PHOTO_SETS=../shared/photos/cord-02:../shared/photos/cord-03:../shared/photos/riders-sun:../shared/photos/riders-dusk \
  cargo test --release --test it detection:: -- --include-ignored
