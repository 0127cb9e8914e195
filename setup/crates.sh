#!/usr/bin/env bash
# Checks the Rust toolchain and fetches the crates, so that all that follows can
# be run with --offline. Fetches nothing when they are there already.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"

rust=$(sed -n 's/^rust-version = "\(.*\)"$/\1/p' Cargo.toml)
how="Install Rust $rust or newer with rustup: 'rustup default stable' once you have it"
how2="(Debian 13 and later: 'apt-get install rustup'; elsewhere as the Rust project's install page says)."
if ! have cargo || ! have rustc; then die "cargo or rustc is missing." "$how" "$how2"; fi
now=$(rustc --version | cut -d ' ' -f 2)
[ "$(printf '%s\n' "$rust" "$now" | sort -V | head -n 1)" = "$rust" ] ||
    die "rustc is $now, too old." "$how" "$how2"
if [ "${1:-}" = --test ]; then
    for part in fmt clippy; do
        cargo "$part" --version >/dev/null 2>&1 ||
            die "cargo $part is missing; run: rustup component add rustfmt clippy"
    done
fi

# Only this machine's crates: the lock file also names those of other systems.
fetch=(cargo fetch --locked --target "$(rustc -vV | sed -n 's/^host: //p')")
if "${fetch[@]}" --offline --quiet 2>/dev/null; then
    say "crates: all there"
else
    say "crates: fetching"
    "${fetch[@]}" || die "the crates could not be fetched. With no network: see models.md."
fi
