#!/usr/bin/env bash
# Puts the FHIR validator of the tests (HAPI FHIR) into assets/fhir-validator,
# each jar checked against tests/fhir-validator/jars.sha256.
#   fhir-validator.sh          fetch what is not in place
#   fhir-validator.sh --check  only tell (by exit code) whether all is in place
# SAYBACK_FROM=DIR takes the jars from DIR/fhir-validator: no maven, no network.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"
sums=$PWD/tests/fhir-validator/jars.sha256
to=assets/fhir-validator

right() { # FOLDER: does it hold all the pinned jars?
    (cd "$1" 2>/dev/null && sha256sum --check --status --strict "$sums")
}

if right "$to"; then
    if [ "${1:-}" != --check ]; then say "$to: in place, checksums right"; fi
    exit
fi
if [ "${1:-}" = --check ]; then exit 1; fi

mkdir -p assets
tmp=$(mktemp -d assets/.new.XXXXXX)
trap 'rm -rf "$tmp"' EXIT
if [ -n "${SAYBACK_FROM:-}" ]; then
    [ -d "$SAYBACK_FROM/fhir-validator" ] || die "SAYBACK_FROM: no folder fhir-validator in $SAYBACK_FROM"
    cp "$SAYBACK_FROM"/fhir-validator/*.jar "$tmp"
else
    have mvn || die "mvn is missing; run: apt-get install maven default-jdk-headless"
    say "$to: fetching (some 150 MB)"
    # The plugin's version is named so that every maven does the same; even a
    # quiet maven colours its silence, hence sed.
    mvn -B -q -f tests/fhir-validator/pom.xml \
        org.apache.maven.plugins:maven-dependency-plugin:3.6.1:copy-dependencies \
        -DoutputDirectory="$PWD/$tmp" </dev/null 2>&1 | sed $'s/\e\\[[0-9;]*m//g' ||
        die "the FHIR validator could not be fetched"
fi
right "$tmp" || die "the FHIR validator's jars are not the pinned ones; nothing was installed" \
    "Compare them with tests/fhir-validator/jars.sha256."
rm -rf "$to"
mv "$tmp" "$to"
chmod 755 "$to"
say "$to: installed"
