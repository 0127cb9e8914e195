#!/usr/bin/env bash
# Takes what the fuzzer found to reach something new into the seeds, which every run
# of the tests tries: fuzz/keep.sh [TARGET...], after fuzz/run.sh. The smallest that
# together reach all, as many as fit into KILOBYTES (60) a target.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
export LD_LIBRARY_PATH=$PWD/assets/vosk
built=${BUILT:-fuzz/target/$(rustc -vV | sed -n 's/^host: //p')/release}
targets=("$@")
if [ ${#targets[@]} -eq 0 ]; then mapfile -t targets < <(ls fuzz/corpus); fi
for target in "${targets[@]}"; do
    seeds=fuzz/seeds/$target
    merged=$(mktemp -d)
    # What the seeds reach already needs no other input.
    by_hand=$(mktemp -d)
    find "$seeds" -type f ! -name 'found-*' -exec cp {} "$by_hand" \;
    cp "$by_hand"/* "$merged"
    "$built/$target" -merge=1 -max_len=4000 "$merged" "$seeds" "fuzz/corpus/$target" >/dev/null 2>&1
    for file in "$by_hand"/*; do rm "$merged/$(basename "$file")"; done
    rm -f "$seeds"/found-*
    left=$((${KILOBYTES:-60} * 1000))
    while read -r size file; do
        left=$((left - size))
        [ $left -ge 0 ] || break
        cp "$file" "$seeds/found-$(basename "$file" | cut -c1-8)"
    done < <(find "$merged" -type f -printf '%s %p\n' | sort -n)
    echo "$target: $(find "$seeds" -name 'found-*' | wc -l) of $(find "$merged" -type f | wc -l) kept, $(du -sb "$seeds" | cut -f1) bytes"
    rm -rf "$merged" "$by_hand"
done
