#!/usr/bin/env bash
# Puts axe-core, which looks for barriers in the pages, into assets/axe, checked
# against pins.txt.
#   axe.sh          fetch it if it is not in place
#   axe.sh --check  only tell (by exit code) whether it is in place
# SAYBACK_FROM=DIR takes the download from DIR: no npm, no network.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"
pack=axe-core-4.14.1.tgz

pinned() { # SUFFIX: the pins of the files that end so, as sha256sum reads them
    grep -F "  $1" setup/pins.txt | sha256sum --check --status --strict 2>/dev/null
}

if pinned assets/axe/; then
    if [ "${1:-}" != --check ]; then say "assets/axe: in place, checksums right"; fi
    exit
fi
if [ "${1:-}" = --check ]; then exit 1; fi

mkdir -p assets
tmp=$(mktemp -d assets/.new.XXXXXX)
trap 'rm -rf "$tmp"' EXIT
if [ -n "${SAYBACK_FROM:-}" ]; then
    cp "$SAYBACK_FROM/$pack" "$tmp" || die "SAYBACK_FROM: no file $pack in $SAYBACK_FROM"
else
    have npm || die "npm is missing; run: apt-get install npm"
    say "assets/axe: fetching $pack"
    npm pack --silent --pack-destination "$tmp" axe-core@4.14.1 >/dev/null </dev/null ||
        die "$pack could not be fetched"
fi
want=$(awk -v n="$pack" '$2 == n { print $1 }' setup/pins.txt)
got=$(sha256sum <"$tmp/$pack" | cut -d ' ' -f 1)
[ "$want" = "$got" ] || die "$pack has the wrong checksum; nothing was installed from it" \
    "expected $want" "got      $got"
mkdir -p assets/axe
tar -xzf "$tmp/$pack" -C assets/axe --strip-components=1 package/axe.min.js package/LICENSE
pinned assets/axe/ || die "assets/axe: not the pinned files after unpacking"
say "assets/axe: installed"
