"""Which of the pinned releases have known weaknesses: what make advisories runs.

    python scripts/advisories.py

pip-audit asks the package registry, and where that has no list the database of open-source
vulnerabilities. Exit code 1 when a weakness is known, 0 when none is, and 0 with a line that says
so when no list can be reached; 2 when the question itself failed.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pins

#: What pip-audit's words hold where a list cannot be reached, or what came is no list.
UNREACHED = (
    "Could not connect to",
    "not redirecting properly",
    "ConnectionError",
    "ConnectTimeout",
    "ReadTimeout",
    "ServiceError",
    "JSONDecodeError",
)
SERVICES = ("pypi", "osv")
WAIT = 15  # s, for one answer

Runner = Callable[[Sequence[str]], subprocess.CompletedProcess[str]]


@dataclass(frozen=True)
class Answer:
    """What one service said of some releases."""

    found: tuple[str, ...]
    unknown: tuple[str, ...]
    asked: int

    @property
    def reached(self) -> bool:
        """Whether it knows anything of any release."""
        return len(self.unknown) < self.asked


class AskingError(Exception):
    """pip-audit did not run."""


def main(run: Runner | None = None, text: str | None = None) -> int:
    """Ask one service after the other until one answers."""
    run = run or _run
    entries = pins.read(text or pins.FILE.read_text(encoding="utf-8"))
    for service in SERVICES:
        try:
            answer = ask(entries, service, run)
        except AskingError as problem:
            print(problem, file=sys.stderr)
            return 2
        if answer.reached:
            return _say(answer, service)
    print(f"No list of advisories can be reached; {len(entries)} releases were not looked up.")
    return 0


def ask(entries: Iterable[pins.Pin], service: str, run: Runner) -> Answer:
    """What a service knows. Releases of one name are asked for in turn: pip-audit takes one."""
    rounds: list[dict[str, pins.Pin]] = []
    for pin in entries:
        for one in rounds:
            if pin.name not in one:
                one[pin.name] = pin
                break
        else:
            rounds.append({pin.name: pin})
    answers = [_ask(list(one.values()), service, run) for one in rounds]
    return Answer(
        tuple(line for a in answers for line in a.found),
        tuple(name for a in answers for name in a.unknown),
        sum(a.asked for a in answers),
    )


def _ask(entries: list[pins.Pin], service: str, run: Runner) -> Answer:
    names = tuple(f"{pin.name} {pin.version}" for pin in entries)
    with tempfile.TemporaryDirectory() as folder:
        wanted = Path(folder) / "wanted.txt"
        wanted.write_text("\n".join(f"{p.name}=={p.version}" for p in entries), encoding="utf-8")
        done = run(
            [sys.executable, "-m", "pip_audit", "--requirement", str(wanted), "--no-deps",
             "--disable-pip", "--format", "json", "--progress-spinner", "off",
             "--vulnerability-service", service, "--timeout", str(WAIT)]
        )  # fmt: skip
    try:
        listed = json.loads(done.stdout)["dependencies"]
    except (ValueError, KeyError, TypeError):
        if any(word in done.stderr for word in UNREACHED):
            return Answer((), names, len(names))
        raise AskingError(f"pip-audit failed:\n{done.stderr.strip()}") from None
    found = tuple(
        f"{one['name']} {one['version']}: {' '.join([weakness['id'], *weakness['aliases']])}"
        f" (fixed in {', '.join(weakness['fix_versions']) or 'no release'})"
        for one in listed
        for weakness in one.get("vulns", ())
    )
    return Answer(found, tuple(o["name"] for o in listed if "skip_reason" in o), len(names))


def _run(command: Sequence[str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(command, capture_output=True, text=True, check=False)


def _say(answer: Answer, service: str) -> int:
    if answer.unknown:
        print(f"Not looked up, because the list ({service}) does not have them: "
              f"{', '.join(answer.unknown)}.")  # fmt: skip
    for line in answer.found:
        print(line)
    looked = answer.asked - len(answer.unknown)
    print(f"{len(answer.found)} advisories known for {looked} releases.")
    return 1 if answer.found else 0


if __name__ == "__main__":
    sys.exit(main())
