#!/usr/bin/env bash
# Takes some of what the fuzzer found to reach something new into the seeds, which
# every run of the tests tries: fuzz/keep.sh [TARGET...], after fuzz/run.sh. Of the
# inputs that together reach all, MOST (40) a target, small ones and large ones.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
export LD_LIBRARY_PATH=$PWD/assets/vosk
built=${BUILT:-fuzz/target/$(rustc -vV | sed -n 's/^host: //p')/release}
targets=("$@")
if [ ${#targets[@]} -eq 0 ]; then mapfile -t targets < <(ls fuzz/corpus); fi
for target in "${targets[@]}"; do
    seeds=fuzz/seeds/$target
    merged=$(mktemp -d)
    # What those made by hand reach needs no other input.
    find "$seeds" -type f ! -name 'found-*' -exec cp {} "$merged" \;
    "$built/$target" -merge=1 -max_len=4000 "$merged" "$seeds" "fuzz/corpus/$target" >/dev/null 2>&1
    find "$seeds" -type f ! -name 'found-*' -printf "$merged/%f\\0" | xargs -0 rm
    rm -f "$seeds"/found-*
    find "$merged" -type f -printf '%s %p\n' | sort -n | awk -v most="${MOST:-40}" '
        { file[NR] = $2 }
        END {
            step = NR > most ? NR / most : 1
            for (at = step; at < NR + 0.5; at += step) print file[int(at + 0.5)]
        }
    ' | while read -r file; do
        cp "$file" "$seeds/found-$(basename "$file" | cut -c1-8)"
    done
    kept=$(find "$seeds" -name 'found-*' | wc -l)
    echo "$target: $kept of $(find "$merged" -type f | wc -l), $(du -sb "$seeds" | cut -f1) bytes"
    rm -rf "$merged"
done
