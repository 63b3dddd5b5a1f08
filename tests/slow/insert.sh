#!/bin/sh
# insert.sh NAME FILE [PAGE]: puts the table rows of FILE (lines that begin with "|") into a page (docs/accuracy.md), below the table's heading rows that
# follow the line "<!-- NAME -->".
set -eu
page=${3:-docs/accuracy.md}
grep '^|' "$2" > "$2.rows"
awk -v name="<!-- $1 -->" -v rows="$2.rows" '
    $0 == name { print; getline; print; getline; print; while ((getline row < rows) > 0) print row; skipping = 1; next }
    skipping && /^\|/ { next }
    { skipping = 0; print }' "$page" > "$page.new"
mv "$page.new" "$page"
rm "$2.rows"
