#!/usr/bin/env bash
# Builds what can be carried to another machine: one folder with the program, its
# library, its model, the demo, the units, the documents and all licences, as
# out/sayback-VERSION-x86_64-linux.tar.gz with its SHA-256 beside it. Nothing
# in it is of this machine or of now.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

version=$(sed -n 's/^version = "\(.*\)"$/\1/p' Cargo.toml | head -n 1)
name=sayback-$version-x86_64-linux
stage=out/release/$name
# The time of the commit is the time of every file.
SOURCE_DATE_EPOCH=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct 2>/dev/null || echo 0)}
export SOURCE_DATE_EPOCH

say() { printf 'release: %s\n' "$*"; }
die() {
    printf 'release: error: %s\n' "$*" >&2
    exit 1
}

say "building (a folder of its own, so that no path of this one is in it)"
# The loader looks beside the program only, and libcrypto is linked in.
SAYBACK_RELEASE=1 \
    RUSTFLAGS="--remap-path-prefix=$PWD=sayback --remap-path-prefix=${CARGO_HOME:-$HOME/.cargo}=cargo" \
    cargo build --release --locked --offline --bin sayback --target-dir out/release/build

rm -rf "$stage"
mkdir -p "$stage"/{lib,demo/speech,dist,docs,licences}
install -m 755 out/release/build/release/sayback "$stage/sayback"
strip "$stage/sayback"
install -m 755 assets/vosk/libvosk.so "$stage/lib/"
cp -r assets/model-en-us "$stage/model-en-us"
cp dist/*.service dist/*.conf "$stage/dist/"
cp README.md models.md "$stage/"
cp docs/*.md "$stage/docs/"
cp grammar/README.md "$stage/docs/what-can-be-said.md"
cp audio-fixtures/demo-round.script audio-fixtures/demo-home.toml "$stage/demo/"
sed -n 's/^wav speech\///p' audio-fixtures/demo-round.script | while read -r wav; do
    cp "audio-fixtures/speech/$wav" "$stage/demo/speech/"
done
dist/licences.py "$stage/licences"

needs=$(objdump -p "$stage/sayback" | awk '$1 == "NEEDED" { print $2 }' | sort | paste -s -d ' ')
[ "$needs" = "ld-linux-x86-64.so.2 libasound.so.2 libc.so.6 libgcc_s.so.1 libm.so.6 libvosk.so" ] ||
    die "the program needs other libraries than it says: $needs"
if grep -qaF -e "$PWD" -e "${CARGO_HOME:-$HOME/.cargo}" "$stage/sayback"; then
    die "a path of this machine is in the program"
fi

(cd "$stage" && find . -type f ! -name SHA256SUMS -printf '%P\0' | LC_ALL=C sort -z | xargs -0 sha256sum >SHA256SUMS)
tar --create --sort=name --mtime="@$SOURCE_DATE_EPOCH" --owner=0 --group=0 --numeric-owner \
    --mode=u+rwX,go+rX,go-w --format=gnu -C out/release "$name" | gzip -9n >"out/$name.tar.gz"
(cd out && sha256sum "$name.tar.gz" | tee "$name.tar.gz.sha256")
say "out/$name.tar.gz: $(du -h "out/$name.tar.gz" | cut -f 1), needs $needs"
