#!/usr/bin/env bash
# Prints a table of memory and time for docs/limits.md: 8 to 200 photos of 2 megapixels, and 8 photos of 2 to 50. Rendering
# the photos takes most of the time: half an hour on two cores. PHOTOS and MEGAPIXELS name other steps.
set -euo pipefail
cd "$(dirname "$0")/../.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
steps=()
for n in ${PHOTOS:-8 25 50 100 200}; do steps+=("$n 2"); done
for m in ${MEGAPIXELS:-8 12 24 50}; do steps+=("8 $m"); done

cargo test --release --test it --no-run
echo "| photos | megapixels each | most memory, MB | processor time, s | on the clock, s |"
echo "|---|---|---|---|---|"
for step in "${steps[@]}"; do
  read -r n m <<< "$step"
  GROWTH_JOBS="$n $m $work/job" cargo test --release --test it growth:: > /dev/null
  # Kilobytes, seconds for the user and the system, seconds on the wall.
  /usr/bin/time -o "$work/time" -f '%M %U %S %e' target/release/sightcord measure "$work/job" --json --threads 2 > /dev/null
  read -r kb user system wall < "$work/time"
  echo "$n $m $kb $user $system $wall" | awk '{printf "| %d | %d | %.0f | %.0f | %.0f |\n", $1, $2, $3 / 1000, $4 + $5, $6}'
  rm -rf "$work/job"
done
