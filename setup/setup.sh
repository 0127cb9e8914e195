#!/usr/bin/env bash
# All of the set-up; a second run only checks. With --test, what the tests need too.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"

sets=(build)
if [ "${1:-}" = --test ]; then sets+=(test); fi
# pip and maven are asked for only if they will be used.
if [ -z "${SAYBACK_FROM:-}" ] && ! setup/assets.sh --check; then sets+=(fetch); fi

setup/packages.sh "${sets[@]}"
setup/assets.sh
setup/crates.sh "$@"
say "done"
