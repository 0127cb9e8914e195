#!/usr/bin/env bash
# Puts the recogniser library and the English model into assets/, each checked
# against pins.txt before it is unpacked and again after.
#   assets.sh          fetch and unpack what is not in place
#   assets.sh --check  only tell (by exit code) whether all is in place
# SAYBACK_FROM=DIR takes the two downloads from DIR: no pip, no maven, no network.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"
from=${SAYBACK_FROM:-}

wheel=vosk-0.3.45-py3-none-manylinux_2_12_x86_64.manylinux2010_x86_64.whl
aar=vosk-model-en-0.3.45.aar

fetch_vosk() { # TO
    fetch_wheel vosk==0.3.45 "$1"
}
fetch_model() { # TO
    have mvn || die "mvn is missing; run: apt-get install maven default-jre-headless"
    maven org.apache.maven.plugins:maven-dependency-plugin:3.6.1:copy \
        -Dartifact=com.alphacephei:vosk-model-en:0.3.45:aar -DoutputDirectory="$1"
}

install_part() { # PART DOWNLOAD FETCHER PATH-IN-ZIP
    if pinned "$1" "assets/$1"; then
        say "assets/$1: in place, checksums right"
        return
    fi
    local file=$tmp/download/$2
    if [ -n "$from" ]; then
        file=$from/$2
        [ -f "$file" ] || die "SAYBACK_FROM: no file $2 in $from (models.md says how to get it)"
    else
        say "assets/$1: fetching $2"
        "$3" "$tmp/download" || die "$2 could not be fetched. With no network: see models.md, SAYBACK_FROM."
        [ -f "$file" ] || die "fetched, but no $2 came; got: $(ls "$tmp/download")"
    fi
    check_download "$file"
    unzip -q "$file" "$4*" -d "$tmp/$1"
    # Pinned too, so that a damaged assets/ is noticed later without the download.
    pinned "$1" "$tmp/$1/${4%/*}" ||
        die "$2 did not unpack to the pinned files; nothing was installed from it"
    # One rename, on one file system: assets/PART is whole or is not there.
    rm -rf "assets/$1"
    mv "$tmp/$1/${4%/*}" "assets/$1"
    say "assets/$1: installed"
}

if [ "${1:-}" = --check ]; then
    pinned vosk assets/vosk && pinned model-en-us assets/model-en-us
    exit
fi
[ "$(uname -sm)" = "Linux x86_64" ] || die "the pinned recogniser library is for Linux on x86_64, not $(uname -sm)"

mkdir -p assets
# One set-up at a time, so that what an earlier one left when killed can go.
exec 9>assets/.lock
flock 9
rm -rf assets/.new.*
tmp=$(mktemp -d assets/.new.XXXXXX)
trap 'rm -rf "$tmp"' EXIT
mkdir "$tmp/download"
# Absolute, since maven takes folders relative to its own idea of a base.
tmp=$PWD/$tmp
install_part vosk "$wheel" fetch_vosk vosk/libvosk.so
install_part model-en-us "$aar" fetch_model assets/model-en-us/
