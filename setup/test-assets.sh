#!/usr/bin/env bash
# Puts what only the tests use into assets/, checked against the pins:
#   axe             axe-core, which looks for barriers in the pages
#   fhir-validator  HAPI FHIR's validator (some 150 MB)
#   openmetrics     the parser of Prometheus's own client for Python
#   test-assets.sh          fetch what is not in place
#   test-assets.sh --check  only tell (by exit code) whether all is in place
# SAYBACK_FROM=DIR takes the downloads from DIR (models.md): no network.
# shellcheck source=setup/lib.sh
. "$(dirname "${BASH_SOURCE[0]}")/lib.sh"
check=${1:-}
axe="axe-core-4.14.1.tgz"
client=prometheus_client-0.26.0-py3-none-any.whl

# Each fetches into the folder DIR.
fetch_axe() { # DIR
    have npm || die "npm is missing; run: apt-get install npm"
    npm pack --silent --pack-destination "$1" axe-core@4.14.1 >/dev/null </dev/null
}
fetch_openmetrics() { # DIR
    fetch_wheel prometheus-client==0.26.0 "$1"
}
fetch_fhir_validator() { # DIR
    have mvn || die "mvn is missing; run: apt-get install maven default-jdk-headless"
    mkdir "$1/fhir-validator"
    maven -f tests/fhir-validator/pom.xml \
        org.apache.maven.plugins:maven-dependency-plugin:3.6.1:copy-dependencies \
        -DoutputDirectory="$1/fhir-validator"
}

# Each puts what is used of the download in DIR into the folder TO.
unpack_axe() { # DIR TO
    check_download "$1/$axe"
    tar -xzf "$1/$axe" -C "$2" --strip-components=1 package/axe.min.js package/LICENSE
}
unpack_openmetrics() { # DIR TO
    # Python reads a wheel as it is.
    cp "$1/$client" "$2"
}
unpack_fhir_validator() { # DIR TO
    cp "$1"/fhir-validator/*.jar "$2"
}

right() { # PART FOLDER
    case $1 in
    fhir-validator) (cd "$2" 2>/dev/null && sha256sum --check --status --strict "$OLDPWD/tests/fhir-validator/jars.sha256" 2>/dev/null) ;;
    *) pinned "$1" "$2" ;;
    esac
}

put() { # PART
    local to=assets/$1 verb=${1//-/_}
    if right "$1" "$to"; then
        if [ "$check" != --check ]; then say "$to: in place, checksums right"; fi
        return
    fi
    if [ "$check" = --check ]; then exit 1; fi
    local from=${SAYBACK_FROM:-$tmp/download} new=$tmp/$1
    mkdir -p "$tmp/download" "$new"
    if [ -z "${SAYBACK_FROM:-}" ]; then
        say "$to: fetching"
        "fetch_$verb" "$from" || die "$1 could not be fetched. With no network: see models.md, SAYBACK_FROM."
    fi
    "unpack_$verb" "$from" "$new" || die "$1 is not in $from (models.md says how to get it)"
    right "$1" "$new" || die "$1 is not as pinned; nothing was installed" \
        "Compare it with setup/pins.txt, or tests/fhir-validator/jars.sha256."
    # One rename: it is whole or is not there.
    rm -rf "$to"
    mv "$new" "$to"
    say "$to: installed"
}

if [ "$check" != --check ]; then
    mkdir -p assets
    # Absolute, since maven takes folders relative to its own idea of a base.
    tmp=$PWD/$(mktemp -d assets/.new.XXXXXX)
    trap 'rm -rf "$tmp"' EXIT
fi
for part in axe openmetrics fhir-validator; do put "$part"; done
