#!/usr/bin/env bash
# All of the set-up; a second run only checks. With --test, what the tests need too.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"

sets=(build)
if [ "${1:-}" = --test ]; then sets+=(test); fi
# pip and maven are asked for only if they will be used.
in_place() {
    setup/assets.sh --check &&
        { [ "${1:-}" != --test ] || setup/test-assets.sh --check; }
}
if [ -z "${SAYBACK_FROM:-}" ] && ! in_place "$@"; then sets+=(fetch); fi

setup/packages.sh "${sets[@]}"
setup/assets.sh
if [ "${1:-}" = --test ]; then
    setup/test-assets.sh
fi
setup/crates.sh "$@"
say "done"
