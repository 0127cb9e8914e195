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
