#!/bin/sh
# insert.sh NAME FILE: puts the table rows of FILE (lines that begin with "|") into docs/accuracy.md, below the table's heading rows that
# follow the line "<!-- NAME -->".
set -eu
grep '^|' "$2" > "$2.rows"
awk -v name="<!-- $1 -->" -v rows="$2.rows" '
    $0 == name { print; getline; print; getline; print; while ((getline row < rows) > 0) print row; skipping = 1; next }
    skipping && /^\|/ { next }
    { skipping = 0; print }' docs/accuracy.md > docs/accuracy.md.new
mv docs/accuracy.md.new docs/accuracy.md
rm "$2.rows"
