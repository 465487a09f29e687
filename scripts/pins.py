"""Read constraints.txt: exact versions, with the hash of every file that may be installed.

    python scripts/pins.py GROUP ..    print the entries of these groups, for pip install -r

Needs nothing but Python: it runs before anything is installed. scripts/lock.py writes the file.
"""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path

FILE = Path(__file__).resolve().parents[1] / "constraints.txt"
ENTRY = re.compile(r"(?P<name>[A-Za-z0-9._-]+)==(?P<version>[^\s;\\]+)(?: ; (?P<marker>[^\\]+))?")
HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")
GROUPS, FILES = "# for: ", "#   "


@dataclass(frozen=True)
class Pin:
    """One release: the groups of pyproject.toml that need it, and its files.

    ``files`` and ``hashes`` stand in the same order; a file is given by its tags (the last three
    parts of a wheel's name, PEP 427). ``marker`` is empty where the release is needed everywhere.
    """

    name: str
    version: str
    marker: str
    groups: tuple[str, ...]
    files: tuple[str, ...]
    hashes: tuple[str, ...]

    def requirement(self) -> str:
        """The entry as pip reads it."""
        first = f"{self.name}=={self.version}" + (f" ; {self.marker}" if self.marker else "")
        return " \\\n".join([first, *(f"    --hash=sha256:{h}" for h in self.hashes)])

    def entry(self) -> str:
        """The entry as it stands in the file."""
        lines = [GROUPS + " ".join(self.groups)]
        for tag in self.files:
            if lines[-1].startswith(FILES) and len(lines[-1]) + len(tag) < 99:
                lines[-1] += " " + tag
            else:
                lines.append(FILES + tag)
        return "\n".join([*lines, self.requirement()])


def read(text: str) -> list[Pin]:
    """The entries of a constraints file; ValueError, with the line, where it is not one."""
    pins: list[Pin] = []
    groups: list[str] = []
    files: list[str] = []
    lines = iter(enumerate(text.splitlines(), 1))
    for number, line in lines:
        if line.startswith(GROUPS):
            groups, files = line.removeprefix(GROUPS).split(), []
        elif line.startswith(FILES):
            files += line.removeprefix(FILES).split()
        elif line and not line.startswith("#"):
            head = line.removesuffix(" \\")
            found = ENTRY.fullmatch(head)
            if found is None:
                raise ValueError(f"line {number}: got {line!r}; expected NAME==VERSION")
            hashes = []
            while line.endswith("\\"):
                number, line = next(lines, (number + 1, ""))
                value = HASH.fullmatch(line.removesuffix("\\").strip())
                if value is None:
                    raise ValueError(f"line {number}: got {line!r}; expected --hash=sha256:…")
                hashes.append(value[1])
            pins.append(
                Pin(
                    found["name"],
                    found["version"],
                    found["marker"] or "",
                    tuple(groups),
                    tuple(files),
                    tuple(hashes),
                )
            )
            groups, files = [], []
    return pins


def main(wanted: list[str]) -> int:
    """Print the entries of the groups; 2 where a group is not in the file."""
    pins = read(FILE.read_text(encoding="utf-8"))
    unknown = set(wanted) - {g for pin in pins for g in pin.groups}
    if unknown or not wanted:
        known = " ".join(sorted({g for pin in pins for g in pin.groups}))
        print(f"invalid group: got {' '.join(sorted(unknown)) or 'none'}; expected {known}",
              file=sys.stderr)  # fmt: skip
        return 2
    for pin in pins:
        if set(pin.groups) & set(wanted):
            print(pin.requirement())
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
