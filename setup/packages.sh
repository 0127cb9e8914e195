#!/usr/bin/env bash
# Installs what is missing of the named sets in packages.txt: packages.sh SET...
# Says what it is about to install before it uses root, and uses neither apt nor
# root when nothing is missing.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"

is_there() { # PACKAGE PROBE
    case $2 in
    cmd:*) have "${2#cmd:}" ;;
    lib:*) have pkg-config && pkg-config --exists "${2#lib:}" ;;
    header:*) have cc && echo "#include <${2#header:}>" | cc -E - >/dev/null 2>&1 ;;
    pip) find_pip >/dev/null ;;
    dpkg) [ "$(dpkg-query -W -f '${db:Status-Status}' "$1" 2>/dev/null)" = installed ] ;;
    *) die "packages.txt: no such probe: $2" ;;
    esac
}

missing() { # SET...
    local set package probe
    while read -r set package probe _; do
        case " $* " in
        *" $set "*) is_there "$package" "$probe" || echo "$package" ;;
        esac
    done < <(grep -v '^#' setup/packages.txt)
}

list=$(missing "$@" | paste -s -d ' ')
read -ra want <<<"$list"
if [ ${#want[@]} -eq 0 ]; then
    say "system packages ($*): all there"
    exit
fi
say "system packages missing: ${want[*]}"

root=()
if [ "$(id -u)" -ne 0 ]; then root=(sudo); fi
by_hand="apt-get update && apt-get install --no-install-recommends ${want[*]}"
have apt-get || die "no apt-get here; install the equivalents of: ${want[*]}" \
    "(setup/packages.txt says what each is for), then run this again"
if [ ${#root[@]} -gt 0 ] && ! have sudo; then
    die "installing them needs root, and there is no sudo. As root, run:" "$by_hand"
fi

say "installing them${root:+ with sudo} (this can take some minutes)"
apt=("${root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -qq)
if ! "${apt[@]}" update || ! "${apt[@]}" install -y --no-install-recommends "${want[@]}" </dev/null >/dev/null; then
    die "apt-get could not install them. As root, by hand:" "$by_hand"
fi

list=$(missing "$@" | paste -s -d ' ')
[ -z "$list" ] || die "installed, yet still not usable: $list"
