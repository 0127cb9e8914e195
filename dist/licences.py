#!/usr/bin/env python3
"""Gathers the licences of all that the program is made of: licences.py FOLDER.

CRATES.tsv lists every crate that is linked in, with its version, its licence and
where it comes from; each crate's own licence files lie in a folder of its name.
"""

import json
import pathlib
import re
import shutil
import subprocess
import sys

TARGET = "x86_64-unknown-linux-gnu"
# What is not a crate.
OTHERS = """\
Beside the crates of CRATES.tsv there are in this folder:

lib/libvosk.so   Vosk 0.3.45 by Alpha Cephei Inc, Apache-2.0 (LICENSE-Apache-2.0).
                 It is built on Kaldi and OpenFst (Apache-2.0) and OpenBLAS
                 (BSD-3-Clause), as its makers say.
model-en-us/     the small US English model 0.3.45, Copyright 2020 Alpha Cephei
                 Inc, Apache-2.0 (LICENSE-Apache-2.0).
sayback          has libcrypto of OpenSSL 3 linked in, Apache-2.0
                 (LICENSE-Apache-2.0, openssl-copyright), and SQLCipher,
                 BSD-3-Clause (LICENSE-sqlcipher).
"""
DEBIAN = pathlib.Path("/usr/share")


def cargo(*arguments):
    """What a cargo command prints."""
    command = ["cargo", *arguments, "--locked", "--offline"]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def linked():
    """The names and versions of the crates that are linked in."""
    tree = cargo("tree", "--edges", "normal", "--target", TARGET, "--prefix", "none")
    found = re.findall(r"^(\S+) v(\S+)", tree, re.MULTILINE)
    return {it for it in found if it[0] != "sayback"}


def main():
    to = pathlib.Path(sys.argv[1])
    metadata = json.loads(cargo("metadata", "--format-version", "1", "--filter-platform", TARGET))
    packages = {(it["name"], it["version"]): it for it in metadata["packages"]}
    lines = ["crate\tversion\tlicence\tfrom"]
    for name, version in sorted(linked()):
        package = packages[name, version]
        licence = package["license"] or package["license_file"]
        if not licence:
            sys.exit(f"licences: {name} {version} names no licence")
        where = package["repository"] or package["homepage"] or ""
        lines.append("\t".join([name, version, licence, where]))
        folder = pathlib.Path(package["manifest_path"]).parent
        own = [it for it in folder.iterdir() if re.match(r"(?i)(licen[cs]e|copying|notice|unlicense)", it.name)]
        for file in (it for it in own if it.is_file()):
            copy = to / f"{name}-{version}" / file.name
            copy.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(file, copy)
    (to / "CRATES.tsv").write_text("\n".join(lines) + "\n")
    (to / "README").write_text(OTHERS)
    source = next(it for name, it in packages.items() if name[0] == "sqlcipher-src")
    source = pathlib.Path(source["manifest_path"]).parent / "sqlcipher/LICENSE-sqlcipher"
    shutil.copyfile(source, to / source.name)
    shutil.copyfile(DEBIAN / "common-licenses/Apache-2.0", to / "LICENSE-Apache-2.0")
    shutil.copyfile(DEBIAN / "doc/libssl-dev/copyright", to / "openssl-copyright")
    print(f"licences: {len(lines) - 1} crates")


main()
