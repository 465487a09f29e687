"""A run, a signature, a ledger entry, ended by SIGKILL at random moments: results whole after each.

After each kill: every file that the list of the results names is there with its hash, or there are
no results; the ledger's chain is whole; the same command then ends well, and nothing half-written
is left.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests" / "security"))


def kills(times: int, seed: int = 1) -> int:
    """Exit code 1 when one kill left something that is not whole."""
    import attacked

    rng = random.Random(seed)
    counts: Counter[str] = Counter()
    faults: list[str] = []
    with tempfile.TemporaryDirectory() as held:
        place = Path(held)
        os.environ["DRYPOINT_HOME"] = str(place / "home")
        os.environ["DRYPOINT_LEDGER"] = str(place / "ledger.sqlite")
        study = _study(place, attacked)
        commands = {
            "run": ["run", study, "--fresh"],
            "sign": ["sign", study, "--who", "A. Example (invented)"],
            "ledger": ["ledger", "remark", "A thing", "Seen", "--who", "A. Example (invented)"],
        }
        spans = {}
        for name, command in commands.items():
            start = time.perf_counter()
            said = attacked.process(*command)
            spans[name] = time.perf_counter() - start
            print(f"{name}: {spans[name]:.1f} s, exit code {said.code}", flush=True)
        n = -1
        while sum(counts.values()) < times and n < 3 * times:
            n += 1
            name = rng.choice(list(commands))
            # A person signs a version once: each signature has a name of its own.
            commands["sign"] = [*commands["sign"][:3], f"Person {n + 2} (invented)"]
            if _killed(
                [*attacked.COMMAND, *map(str, commands[name])], rng.uniform(0.3, 1.05) * spans[name]
            ):
                counts[name] += 1
            found = _not_whole(study.parent / "results") + _ledger(attacked)
            if n % 10 == 9:
                said = attacked.process(*commands[name])
                if name == "sign" and "has signed version" in said.text:
                    # The kill came after the signature was whole: then it holds.
                    said = attacked.process("check", study)
                if said.code:
                    found.append(f"again: {said.text[:300]}")
                # What a killed signature leaves is cleaned by the next one.
                litter = [p.name for p in study.parent.rglob("*") if ".partial" in p.name]
                litter = litter if name == "sign" else []
                found += [f"left: {name}" for name in litter]
            faults += [f"kill {n} ({name}): {words}" for words in found]
            for words in found:
                print(f"kill {n} ({name}): {words}", file=sys.stderr, flush=True)
            if n % 20 == 19:
                print(f"{n + 1} tries, {dict(counts)}, {len(faults)} faults", flush=True)
    print(f"{sum(counts.values())} kills {dict(counts)} in {n + 1} tries, {len(faults)} faults")
    return 1 if faults else 0


def _study(place: Path, attacked: object) -> Path:
    from attacked import STUDY, drypoint

    drypoint("demo", place / "demo", "--seed", 5)
    study = place / "study" / "study.toml"
    (study.parent / "raw").mkdir(parents=True)
    study.write_text(STUDY, encoding="utf-8")
    for n in (1, 2, 3):
        name = f"G-0{n}.txt"
        shutil.copyfile(place / "demo" / "raw" / "glass" / name, study.parent / "raw" / name)
    drypoint("run", study)
    drypoint("report", study)
    return study


def _killed(command: list[str], after: float) -> bool:
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    process = subprocess.Popen(command, **quiet)  # type: ignore[call-overload]
    try:
        process.wait(after)
        return False
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return True


def _not_whole(results: Path) -> list[str]:
    if not results.exists():
        return []
    try:
        named = json.loads((results / "manifest.json").read_text(encoding="utf-8"))["files"]
    except (OSError, ValueError, KeyError) as error:
        return [f"the list of the results: {error}"]
    out = []
    for name, sha256 in named.items():
        try:
            found = hashlib.sha256((results / name).read_bytes()).hexdigest()
        except OSError as error:
            out.append(f"{name}: {error}")
            continue
        if found != sha256:
            out.append(f"{name}: another hash")
    return out


def _ledger(attacked: object) -> list[str]:
    from attacked import process

    said = process("ledger", "check")
    return [] if said.code == 0 else [f"ledger: {said.text[:300]}"]
