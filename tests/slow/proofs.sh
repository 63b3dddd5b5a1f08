#!/bin/sh
# Runs the tests that render whole jobs and that .ci/run leaves out for their time: about half an hour on two cores.
set -eu
cd "$(dirname "$0")/../.."
cargo test --release --test it slow_ -- --include-ignored
