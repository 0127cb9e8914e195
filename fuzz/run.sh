#!/usr/bin/env bash
# Fuzzes every target in turn: SECONDS_EACH=60 fuzz/run.sh [TARGET...]
# Needs cargo-fuzz, and a nightly toolchain or RUSTC_BOOTSTRAP=1 (set here).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
cargo fuzz --version >/dev/null 2>&1 || {
    echo "cargo-fuzz is missing; run: cargo install cargo-fuzz --locked" >&2
    exit 1
}
export RUSTC_BOOTSTRAP=1 LD_LIBRARY_PATH=$PWD/assets/vosk
targets=("$@")
if [ ${#targets[@]} -eq 0 ]; then mapfile -t targets < <(cargo fuzz list); fi
for target in "${targets[@]}"; do
    echo "fuzz: $target"
    mkdir -p "fuzz/corpus/$target"
    # Without a sanitizer: the program has no unsafe code of its own.
    cargo fuzz run --sanitizer none "$target" "fuzz/corpus/$target" "fuzz/seeds/$target" -- \
        -max_total_time="${SECONDS_EACH:-60}" -max_len=20000 -timeout=20 -rss_limit_mb=2048
done
