#!/usr/bin/env bash
# Adds lines as fuzz/run.sh writes them to what was done before, in fuzz/done.tsv:
# for each target the last day, all executions and seconds, the most edges and
# memory, and all findings. Prints the lines it was given.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"
new=$(mktemp)
tee "$new"
awk -F '\t' '
    BEGIN { OFS = "\t" }
    FNR == 1 && $1 == "target" { next }
    { many = FILENAME == "done.tsv"; name = many ? $1 : $2; date = many ? $2 : $1 }
    !(name in runs) { order[++count] = name }
    {
        if (date > last[name]) last[name] = date
        runs[name] += $3; seconds[name] += $4; processor[name] += $5
        if ($6 > edges[name]) edges[name] = $6
        if ($7 > memory[name]) memory[name] = $7
        found[name] += many ? $8 : $9
    }
    END {
        print "target", "last run", "executions", "seconds", "of it processor", "edges", "MB", "findings"
        for (i = 1; i <= count; i++) {
            it = order[i]
            print it, last[it], runs[it], seconds[it], processor[it], edges[it], memory[it], found[it]
        }
    }
' $([ -e done.tsv ] && echo done.tsv) "$new" >done.new
mv done.new done.tsv
rm -f "$new"
