#!/usr/bin/env bash
# Makes src/hearing/adapted/changes.safetensors anew: run.sh [PEOPLE]
# What it makes on the way stays in out/adapt (3 GB). PEOPLE is a folder of people's
# digits (docs/hearing.md); without it there are three recordings of people reading only.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
people=${1:-}
out=out/adapt
adapt=target/release/examples/adapt
export LD_LIBRARY_PATH=$PWD/assets/vosk
python=$out/python/bin/python
[ -x "$python" ] || {
    python3 -m venv "$out/python"
    "$out/python/bin/pip" install --quiet -r examples/adapt/requirements.txt
}
mkdir -p "$out"
"$adapt" texts 7680 >"$out/texts"
speech() { # SEED COPIES TO, with the texts on standard input
    cat >"$out/some-texts"
    rm -rf "$out/speech" "$out/talk" "$out/mix"
    "$python" examples/adapt/speak.py "$out/some-texts" "$1" "$out/speech" "$out/talk" ${people:+"$people"}
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
"$python" examples/adapt/train.py learn "$out/features" 3000 "$out/learned.pt"
"$python" examples/adapt/train.py write "$out/learned.pt" src/hearing/adapted/changes.safetensors
