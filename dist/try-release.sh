#!/usr/bin/env bash
# Tries a release where nothing of the checkout is: try-release.sh TARBALL. Unpacked
# in a folder of its own, with an empty environment, no network (where the system
# allows that) and a home of its own, its sums must be right, the demo round must
# say what its script expects, and `doctor` must find library, model, voice, key,
# record and home well. There may be no microphone: `doctor` may say so.
set -euo pipefail
tarball=$(realpath "$1")
name=$(basename "$tarball" .tar.gz)
(cd "$(dirname "$tarball")" && sha256sum --check --quiet "$name.tar.gz.sha256")

folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
mkdir -p "$folder"/{opt,home,work}
tar -xzf "$tarball" -C "$folder/opt"
program=$folder/opt/$name/sayback
(cd "$folder/opt/$name" && sha256sum --check --quiet SHA256SUMS)
# As it is installed: by a link, from which a rollback is one step away.
ln -s "$name" "$folder/opt/current"

alone=()
if unshare --map-root-user --net true 2>/dev/null; then
    alone=(unshare --map-root-user --net)
else
    echo "try-release: the system allows no namespace; the network stays reachable"
fi
run() { (cd "$folder/work" && "${alone[@]}" env -i HOME="$folder/home" PATH=/usr/bin:/bin "$@"); }

loaded=$(run ldd "$program")
echo "$loaded"
if echo "$loaded" | grep -qE 'not found|libssl|libcrypto'; then
    echo "try-release: a library is missing, or not linked in" >&2
    exit 1
fi
echo "$loaded" | grep -qF "libvosk.so => $folder/opt/$name/lib/libvosk.so"
run "$folder/opt/current/sayback" --version
run "$folder/opt/current/sayback" rehearse "$folder/opt/current/demo/demo-round.script" --silent --store record.db | tail -n 3
found=$(run "$folder/opt/current/sayback" doctor --store record.db \
    --home "$folder/opt/current/demo/demo-home.toml" --json) || true
echo "$found"
for check in voice model key record home; do
    echo "$found" | grep -q "\"check\":\"$check\",\"outcome\":\"ok\"" || {
        echo "try-release: doctor finds the $check not well" >&2
        exit 1
    }
done
run "$folder/opt/current/sayback" check record.db
echo "try-release: $name works elsewhere"
