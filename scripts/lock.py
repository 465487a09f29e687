"""Write constraints.txt: exact versions that work together, with the hashes of their wheels.

    python scripts/lock.py                    what pyproject.toml has gained; the rest is kept
    python scripts/lock.py --upgrade          the newest of everything
    python scripts/lock.py --upgrade NAME ..  the newest of these

Everything is asked of pip, for each system and each Python, from the index that pip is set to;
wheels are not downloaded, and no address is written. Takes some minutes. Needs pip 23.1 or later
and the library packaging.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pins
from lock_pip import ask_pip
from lock_places import OLDER, PLACES, PYTHONS, SYSTEMS, Place, marker_for
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]


@dataclass
class Releases:
    """What pip chose: version and requirements by name, and the older ones of single systems."""

    chosen: dict[str, dict[str, Any]] = field(default_factory=dict)
    older: dict[tuple[str, str], dict[str, Any]] = field(default_factory=dict)

    def at(self, name: str, place: Place) -> dict[str, Any] | None:
        """The metadata of a package at a place; None where nothing was chosen yet."""
        return self.older.get((place.system.name, name)) or self.chosen.get(name)


def groups_of(project: dict[str, Any]) -> dict[str, list[Requirement]]:
    """The declared requirements by group; an extra that names the package's extras has theirs."""
    data = project["project"]
    extras: dict[str, list[str]] = data["optional-dependencies"]

    def flat(lines: Iterable[str]) -> Iterator[Requirement]:
        for line in lines:
            one = Requirement(line)
            if canonicalize_name(one.name) == data["name"]:
                for extra in one.extras:
                    yield from flat(extras[extra])
            else:
                yield one

    groups = {"base": list(flat(data["dependencies"]))}
    groups |= {name: list(flat(lines)) for name, lines in extras.items() if lines}
    backend = [*project["build-system"]["requires"], "editables"]
    groups["build"] = [*groups.get("build", []), *map(Requirement, backend)]
    groups["pip"] = [Requirement("pip")]
    return groups


def needed(roots: Iterable[Requirement], place: Place, releases: Releases
           ) -> Iterator[Requirement]:  # fmt: skip
    """Every requirement, direct or not, that holds at a place."""
    todo = [(one, "") for one in roots]
    seen: set[tuple[str, str]] = set()
    while todo:
        one, extra = todo.pop()
        if one.marker and not one.marker.evaluate({**place.markers(), "extra": extra}):
            continue
        yield one
        name = canonicalize_name(one.name)
        release = releases.at(name, place)
        for wanted in {"", *one.extras}:
            if release is None or (name, wanted) in seen:
                continue
            seen.add((name, wanted))
            todo += [(Requirement(line), wanted) for line in release.get("requires_dist", [])]


def resolve(groups: dict[str, list[Requirement]], kept: Iterable[str]) -> Releases:
    """Versions for everything that any group needs at any place."""
    roots = {_bare(one) for group in groups.values() for one in group}
    oldest = PLACES[0]
    releases = Releases()
    for system in SYSTEMS:
        if older := OLDER.get(system.name):
            place = Place(system, PYTHONS[0])
            lines = [f"{name}=={version}" for name, version in older.items()]
            for item in ask_pip(lines, place, system.platforms[-1], "--no-deps"):
                data = item["metadata"]
                releases.older[system.name, canonicalize_name(data["name"])] = data
    with tempfile.TemporaryDirectory() as folder:
        limits = Path(folder) / "kept.txt"
        limits.write_text("\n".join(kept), encoding="utf-8")
        while True:
            say(f"choosing versions for {len(roots)} requirements")
            items = ask_pip(
                sorted(roots), oldest, oldest.system.platforms[0], "--constraint", str(limits)
            )
            releases.chosen = {canonicalize_name(i["metadata"]["name"]): i["metadata"]
                               for i in items}  # fmt: skip
            missing = {
                _bare(one)
                for place in PLACES for group in groups.values()
                for one in needed(group, place, releases)
                if releases.at(canonicalize_name(one.name), place) is None
            }  # fmt: skip
            if not missing:
                return releases
            roots |= missing


def _bare(one: Requirement) -> str:
    extras = f"[{','.join(sorted(one.extras))}]" if one.extras else ""
    return f"{one.name}{extras}{one.specifier}"


def where_needed(groups: dict[str, list[Requirement]], releases: Releases
                 ) -> dict[tuple[str, str], dict[str, set[Place]]]:  # fmt: skip
    """By name and version: the groups that need it, and where; SystemExit where it does not fit."""
    found: dict[tuple[str, str], dict[str, set[Place]]] = {}
    for place in PLACES:
        for group, roots in groups.items():
            for one in needed(roots, place, releases):
                name = canonicalize_name(one.name)
                release = releases.at(name, place)
                assert release is not None
                version = release["version"]
                if not one.specifier.contains(version, prereleases=True):
                    raise SystemExit(f"{place.system.name}: {one} is needed, {version} was chosen")
                found.setdefault((name, version), {}).setdefault(group, set()).add(place)
    return found


def collect_files(
    wanted: dict[tuple[str, str], set[Place]],
) -> dict[tuple[str, str], dict[str, str]]:
    """The wheels of each release (file name to hash) that pip takes at its places.

    One that fits everywhere is asked for once: where a closer one exists pip takes the one whose
    hash it was given.
    """
    files: dict[tuple[str, str], dict[str, str]] = {key: {} for key in wanted}
    for place in PLACES:
        here = [
            key for key, places in wanted.items()
            if place in places and not any(f.endswith("-none-any.whl") for f in files[key])
        ]  # fmt: skip
        say(f"{place.system.name}, Python {place.python}: {len(here)} packages")
        for platforms in place.system.platforms:
            lines = [f"{name}=={version}" for name, version in here]
            for item in ask_pip(lines, place, platforms, "--no-deps"):
                data, info = item["metadata"], item["download_info"]
                key = (canonicalize_name(data["name"]), data["version"])
                file = info["url"].rpartition("/")[2].partition("#")[0]
                files[key][file] = info["archive_info"]["hashes"]["sha256"]
    return files


def to_pins(
    found: dict[tuple[str, str], dict[str, set[Place]]], releases: Releases
) -> list[pins.Pin]:
    """The entries of the file, in the order of their names."""
    markers = {}
    for key, by_group in found.items():
        markers[key] = marker_for(set().union(*by_group.values()))
    files = collect_files({key: places for key, (_, places) in markers.items()})
    entries = []
    for name, version in sorted(found):
        chosen = sorted(files[name, version].items())
        entries.append(
            pins.Pin(
                releases.chosen[name]["name"], version, markers[name, version][0],
                tuple(sorted(found[name, version])),
                tuple("-".join(f.removesuffix(".whl").split("-")[-3:]) for f, _ in chosen),
                tuple(value for _, value in chosen),
            )
        )  # fmt: skip
    return entries


HEADER = """\
# Exact versions that were tested together, with the hash of each wheel that pip takes on the
# systems and Pythons below. Written by scripts/lock.py; not by hand. make setup installs from it
# with --require-hashes. Above each entry: the groups of pyproject.toml that need it (build: the
# build backend too), and the tags of its wheels in the order of their hashes.
# Systems and Pythons (Linux: glibc 2.28 or later):
"""


def header() -> str:
    """What stands above the entries."""
    return HEADER + "\n".join(f"#   {s.name}: {' '.join(s.pythons)}" for s in SYSTEMS)


def say(text: str) -> None:
    """A line on standard error."""
    print(text, file=sys.stderr, flush=True)


def kept_pins(upgrade: list[str] | None) -> list[str]:
    """The entries that stay as they are; all go for ``--upgrade`` without names."""
    if upgrade == [] or not pins.FILE.exists():
        return []
    older = {(name, v) for table in OLDER.values() for name, v in table.items()}
    leave = {canonicalize_name(name) for name in upgrade or ()}
    return [
        f"{pin.name}=={pin.version}"
        for pin in pins.read(pins.FILE.read_text(encoding="utf-8"))
        if canonicalize_name(pin.name) not in leave
        and (canonicalize_name(pin.name), pin.version) not in older
    ]


def main() -> int:
    """Choose, ask for the wheels, write."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--upgrade", nargs="*", metavar="NAME")
    arguments = parser.parse_args()
    groups = groups_of(tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8")))
    releases = resolve(groups, kept_pins(arguments.upgrade))
    entries = to_pins(where_needed(groups, releases), releases)
    text = "\n\n".join([header(), *(pin.entry() for pin in entries)]) + "\n"
    pins.FILE.write_text(text, encoding="utf-8")
    say(f"{len(entries)} entries, {sum(len(e.hashes) for e in entries)} hashes: {pins.FILE.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
