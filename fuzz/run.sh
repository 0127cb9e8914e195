#!/usr/bin/env bash
# Fuzzes every target in turn, guided by coverage: SECONDS_EACH=60 fuzz/run.sh [TARGET...]
# Installs cargo-fuzz into out/tools where there is none. Any toolchain will do:
# the compiler's own switches are let through by RUSTC_BOOTSTRAP. What is found
# goes to fuzz/artifacts, and a line for each target to out/fuzz.tsv. What reached
# something new stays in fuzz/corpus, so that the next run goes on from there, and
# fuzz/done.tsv has what all runs come to.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
PATH=$PWD/out/tools/bin:$PATH
cargo fuzz --version >/dev/null 2>&1 || {
    echo "fuzz: installing cargo-fuzz into out/tools (a minute or two)"
    cargo install cargo-fuzz --version 0.13.2 --locked --quiet --root out/tools
}
export RUSTC_BOOTSTRAP=1 LD_LIBRARY_PATH=$PWD/assets/vosk
# What is written is written for nothing: in memory, or the disk is what is waited for.
shm=/tmp
[ ! -w /dev/shm ] || shm=/dev/shm
export TMPDIR=${TMPDIR:-$shm}
targets=("$@")
if [ ${#targets[@]} -eq 0 ]; then mapfile -t targets < <(cargo fuzz list); fi
# Without a sanitizer: the program has no unsafe code of its own.
cargo fuzz build --sanitizer none
built=fuzz/target/$(rustc -vV | sed -n 's/^host: //p')/release
mkdir -p out
failed=0
# The processor's seconds: those of the clock say little on a machine with other work.
TIMEFORMAT='%U %S'
for target in "${targets[@]}"; do
    echo "fuzz: $target"
    mkdir -p "fuzz/corpus/$target" "fuzz/artifacts/$target"
    log=out/fuzz-$target.log
    { time "$built/$target" -artifact_prefix="fuzz/artifacts/$target/" \
        -max_total_time="${SECONDS_EACH:-60}" -max_len=20000 -timeout="${TIMEOUT:-20}" \
        -rss_limit_mb=2048 -print_final_stats=1 \
        "fuzz/corpus/$target" "fuzz/seeds/$target" >"$log" 2>&1; } 2>out/fuzz-time || {
        failed=1
        grep -E "panicked|SUMMARY|Test unit written" "$log" || tail -n 20 "$log"
    }
    processor=$(awk 'END { printf "%.0f", $1 + $2 }' out/fuzz-time)
    # Date, target, executions, seconds, of the processor, edges, memory in MB,
    # corpus, findings.
    awk -v target="$target" -v processor="$processor" -v date="$(date +%F)" '
        / cov: / { for (i = 1; i < NF; i++) { if ($i == "cov:") cov = $(i + 1); if ($i == "corp:") corp = $(i + 1) } }
        /^Done/ { seconds = $(NF - 1) }
        /number_of_executed_units/ { runs = $2 }
        /peak_rss_mb/ { rss = $2 }
        /SUMMARY: libFuzzer/ { found++ }
        END {
            OFS = "\t"
            print date, target, runs + 0, seconds + 0, processor, cov + 0, rss + 0, corp, found + 0
        }
    ' "$log" | tee -a out/fuzz.tsv | fuzz/add.sh
done
exit $failed
