#!/usr/bin/env bash
# Makes the recordings in speech/ from texts.tsv: 16 kHz, mono, 16 bits.
# Voices are "flite:NAME" and "espeak:NAME", from Debian packages flite and
# espeak-ng; sox brings them to one rate and loudness.
# With names as arguments, only those recordings are made.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")"
mkdir -p speech
raw=$(mktemp --suffix=.wav)
trap 'rm -f "$raw"' EXIT
grep -v '^#' texts.tsv | while IFS=$'\t' read -r name voice words; do
  if [ $# -gt 0 ] && [[ " $* " != *" $name "* ]]; then continue; fi
  case $voice in
    flite:*) flite -voice "${voice#*:}" -t "$words" -o "$raw" ;;
    espeak:*) espeak-ng -v "${voice#*:}" -s 150 -w "$raw" -- "$words" ;;
    *) echo "$name: no voice called $voice" >&2; exit 1 ;;
  esac
  sox -V1 -D -G "$raw" -r 16000 -c 1 -b 16 "speech/$name.wav" norm -3 pad 0.2 0.3
done
