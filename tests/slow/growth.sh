#!/usr/bin/env bash
# Prints a table of memory and time for docs/performance.md: 8 to 200 photos of 2 megapixels, 8 photos of 2 to 50, and many of 12.
#
#     tests/slow/growth.sh            renders the photos first, which takes most of the time
#     PROGRAM=target/static/sightcord tests/slow/growth.sh
#     TESTS=./it PROGRAM=./sightcord tests/slow/growth.sh      with what was built elsewhere
#
# PHOTOS and MEGAPIXELS name other steps; MANY other large jobs, as "photos megapixels". Photos are rendered from a few places, and
# taken again from there with grain of their own: to render each by itself takes hours. The time is that of the whole command,
# report and all.
set -euo pipefail
cd "$(dirname "$0")/../.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
program=${PROGRAM:-target/release/sightcord}
read -r -a photos <<< "${PHOTOS-8 24 50 100 200}"
read -r -a megapixels <<< "${MEGAPIXELS-8 12 24 50}"
IFS=';' read -r -a many <<< "${MANY-500 12}"

read -r -a tests <<< "${TESTS-cargo test --release --test it}"
make_job() { GROWTH_JOBS="$1" "${tests[@]}" growth:: > /dev/null 2>&1; }

measured() {
  # Kilobytes, seconds for the user and the system, seconds on the clock.
  /usr/bin/time -o "$work/time" -f '%M %U %S %e' "$program" measure "$3" --to "$work/report" --threads 2 --quiet
  read -r kb user system clock < <(tail -n 1 "$work/time")
  echo "$1 $2 $kb $user $system $clock" | awk '{printf "| %d | %d | %.0f | %.0f | %.0f |\n", $1, $2, $3 / 1000, $4 + $5, $6}'
  rm -rf "$work/report"
}

echo "| photos | megapixels each | most memory, MB | processor time, s | on the clock, s |"
echo "|---|---|---|---|---|"
if [ ${#photos[@]} -gt 0 ]; then
  # The smaller jobs are the first photos of the largest: half of them of each set-up.
  most=$(printf '%s\n' "${photos[@]}" | sort -n | tail -n 1)
  make_job "$most 2 $work/all 24"
  for n in "${photos[@]}"; do
    mkdir "$work/job" && cp "$work/all/job.toml" "$work/job/"
    for setup in "$work/all"/*/; do
      mkdir "$work/job/$(basename "$setup")"
      for i in $(seq -f '%03g' $((n / 2))); do ln "$setup$i.jpg" "$work/job/$(basename "$setup")/"; done
    done
    measured "$n" 2 "$work/job"
    rm -rf "$work/job"
  done
  rm -rf "$work/all"
fi
for m in "${megapixels[@]}"; do
  make_job "8 $m $work/job 4"
  measured 8 "$m" "$work/job"
  rm -rf "$work/job"
done
for large in "${many[@]}"; do
  read -r n m <<< "$large"
  make_job "$n $m $work/job 8"
  measured "$n" "$m" "$work/job"
  rm -rf "$work/job"
done
