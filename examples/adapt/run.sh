#!/usr/bin/env bash
# Makes src/hearing/adapted/changes.safetensors anew: run.sh [DIGITS]
# What it makes on the way stays in out/adapt. DIGITS is a folder of people's digits
# (docs/hearing.md).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
digits=${1:-}
out=out/adapt
adapt=target/release/examples/adapt
export LD_LIBRARY_PATH=$PWD/assets/vosk
python=$out/python/bin/python
[ -x "$python" ] || {
    python3 -m venv "$out/python"
    "$out/python/bin/pip" install --quiet -r examples/adapt/requirements.txt
}
mkdir -p "$out"
"$python" examples/adapt/people.py "$out/people"
"$adapt" texts 7680 >"$out/texts"
speech() { # SEED COPIES TO, with the texts on standard input
    cat >"$out/some-texts"
    rm -rf "$out/speech" "$out/talk" "$out/mix"
    "$python" examples/adapt/speak.py "$out/some-texts" "$1" "$out/speech" "$out/talk" \
        "$out/people" ${digits:+"$digits"}
    mkdir -p "$out/mix"
    "$adapt" mix "$out/speech" "$out/talk" "$1" "$2" "$out/mix"
    # Two processes share the work: one thread is enough for each.
    OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 \
        "$python" examples/adapt/train.py features "$out/mix" "$3"
}
train() { "$python" examples/adapt/train.py "$@"; }
rm -rf "$out/features"
head -n 2560 "$out/texts" | speech 5 2 "$out/features"
tail -n 2560 "$out/texts" | speech 6 2 "$out/features"
train learn "$out/features" 3000 "$out/learned.pt"
train write "$out/learned.pt" src/hearing/adapted/changes.safetensors
