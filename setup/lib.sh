# Shared by the set-up scripts, which source it: works from the checkout's root.
# shellcheck shell=bash
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

say() { printf 'setup: %s\n' "$*"; }
die() {
    printf 'setup: error: %s\n' "$1" >&2
    shift
    if (($#)); then printf '       %s\n' "$@" >&2; fi
    exit 1
}
have() { command -v "$1" >/dev/null 2>&1; }

# The first pip for Python 3 that really runs, as words to run.
find_pip() {
    local try
    for try in pip3 pip 'python3 -m pip'; do
        # shellcheck disable=SC2086  # "python3 -m pip" is three words
        if $try --version >/dev/null 2>&1; then
            echo "$try"
            return
        fi
    done
    return 1
}

fetch_wheel() { # WHICH TO
    local pip
    pip=$(find_pip) || die "pip is missing; run: apt-get install python3-pip"
    # shellcheck disable=SC2086  # $pip may be "python3 -m pip"
    $pip download --quiet --no-deps --only-binary=:all: --dest "$2" "$1"
}

maven() { # ARGUMENT...
    # The plugin's version is named so that every maven does the same; even a
    # quiet maven colours its silence, hence sed.
    mvn -B -q "$@" </dev/null 2>&1 | sed $'s/\e\\[[0-9;]*m//g'
}

pinned() { # PART FOLDER: does it hold all files pinned as assets/PART, and right?
    local pins=$PWD/setup/pins.txt
    (cd "$2" 2>/dev/null && sed -n "s,  assets/$1/,  ,p" "$pins" |
        sha256sum --check --status --strict 2>/dev/null)
}

check_download() { # FILE
    local name want got hint
    name=$(basename "$1")
    [ -f "$1" ] || die "no file $name in $(dirname "$1") (models.md says how to get it)"
    want=$(awk -v n="$name" '$2 == n { print $1 }' setup/pins.txt)
    got=$(sha256sum <"$1" | cut -d ' ' -f 1)
    hint="A damaged copy may be in a cache: 'pip cache purge', or delete it from maven's local repository."
    if [ -n "${SAYBACK_FROM:-}" ]; then hint="Copy it again into $SAYBACK_FROM."; fi
    [ "$want" = "$got" ] || die "$name has the wrong checksum; nothing was installed from it" \
        "expected $want" "got      $got" "$hint"
}
