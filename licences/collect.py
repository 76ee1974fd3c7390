#!/usr/bin/env python3
"""Write licences/THIRD-PARTY.txt: the licence texts of everything the program holds.

    python3 licences/collect.py

Run it after Cargo.lock has changed; tests/mess/crates.rs holds the list of crates
against the lock file. Each text stands once, under the crates that carry it.
`litrewise licences` prints the file.
"""
import json
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent
WANTED = ("licen", "copying", "notice", "unlicense", "copyright")


def linked(meta):
    """Crates that are linked into the program: normal dependencies, on any platform."""
    nodes = {n["id"]: n for n in meta["resolve"]["nodes"]}
    seen, ahead = set(), [meta["resolve"]["root"]]
    while ahead:
        node = ahead.pop()
        if node in seen:
            continue
        seen.add(node)
        for dep in nodes[node]["deps"]:
            if any(k["kind"] is None for k in dep["dep_kinds"]):
                ahead.append(dep["pkg"])
    seen.discard(meta["resolve"]["root"])
    return seen


def texts(package):
    folder = Path(package["manifest_path"]).parent
    files = [f for f in folder.iterdir() if f.is_file() and f.name.lower().startswith(WANTED)]
    # texts of fonts and the like that a crate carries
    inner = ("license", "license.txt", "ofl.txt")
    files += [f for f in folder.glob("*/**/*") if f.is_file() and f.name.lower() in inner]
    for file in sorted(files):
        text = file.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n").strip()
        if text and file.suffix not in (".rs", ".html", ".json", ".toml"):
            yield "\n".join(line.rstrip() for line in text.splitlines())


def main():
    meta = json.loads(subprocess.check_output(
        ["cargo", "metadata", "--locked", "--format-version", "1"], cwd=HERE.parent, text=True))
    packages = {p["id"]: p for p in meta["packages"]}
    by_text, bare = {}, []
    names = []
    for package in sorted((packages[i] for i in linked(meta)), key=lambda p: (p["name"], p["version"])):
        name = f'{package["name"]} {package["version"]}'
        names.append(f'{name} ({package["license"] or "see its text"})')
        found = list(dict.fromkeys(texts(package)))
        for text in found:
            by_text.setdefault(text, []).append(name)
        if not found:
            bare.append(name)
    out = ["What the program holds of others, and their licences.", "",
           "The Rust standard library (MIT OR Apache-2.0) and the crates below; the font DejaVu Sans",
           "comes with the crate dejavu.", "", "Crates", "======", *names, ""]
    if bare:
        out += ["Without a text of their own in the package; the licence named above holds:", ", ".join(bare), ""]
    for text, of in sorted(by_text.items(), key=lambda pair: pair[1]):
        out += ["=" * 78, ", ".join(of), "-" * 78, text, ""]
    (HERE / "THIRD-PARTY.txt").write_text("\n".join(out), encoding="utf-8")
    print(f"{len(names)} crates, {len(by_text)} texts, {len(bare)} without one")


if __name__ == "__main__":
    main()
