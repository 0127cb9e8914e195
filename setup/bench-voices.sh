#!/usr/bin/env bash
# Puts the styles of the neural voices, for the speech bench only, into out/bench/kokoro:
# npm kokoro-js@1.2.1 (Apache-2.0), checked against the pins.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"
to=out/bench/kokoro
package=kokoro-js-1.2.1.tgz
[ -d "$to" ] && exit
have npm || die "npm is missing; run: apt-get install npm"
mkdir -p out/bench
tmp=$(mktemp -d out/bench/.new.XXXXXX)
trap 'rm -rf "$tmp"' EXIT
npm pack --silent --pack-destination "$tmp" kokoro-js@1.2.1 >/dev/null </dev/null
check_download "$tmp/$package"
tar -xzf "$tmp/$package" -C "$tmp" package/voices
mv "$tmp/package/voices" "$to"
say "$to: installed"
