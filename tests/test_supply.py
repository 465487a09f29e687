"""What is installed: constraints.txt, and that nothing else gets in.

constraints.txt is judged from its own text by the rules of PEP 427, 440, 508 and 600, as the
library packaging has them; that a file with another hash is refused is tried with pip itself.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import sysconfig
import tomllib
import zipfile
from collections.abc import Iterator, Sequence
from importlib import metadata
from pathlib import Path

import advisories
import pins
import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.tags import Tag, compatible_tags, cpython_tags, mac_platforms, parse_tag
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parents[1]
TEXT = pins.FILE.read_text(encoding="utf-8")
PINS = pins.read(TEXT)
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
DATA = PROJECT["project"]

GLIBC = 28  # the oldest C library, 2.28, of the systems that are claimed
SYSTEMS: dict[str, tuple[str, str, str, list[str]]] = {
    "linux_x86_64": ("linux", "Linux", "x86_64", []),
    "linux_aarch64": ("linux", "Linux", "aarch64", []),
    "macos_arm64": ("darwin", "Darwin", "arm64", list(mac_platforms((12, 0), "arm64"))),
    "macos_x86_64": ("darwin", "Darwin", "x86_64", list(mac_platforms((11, 0), "x86_64"))),
    "windows_amd64": ("win32", "Windows", "AMD64", ["win_amd64"]),
}
CLAIMS = {
    name: pythons.split()
    for name, pythons in re.findall(r"^#   (\w+): ([\d. ]+)$", TEXT, re.MULTILINE)
}
PLACES = [(system, python) for system, pythons in CLAIMS.items() for python in pythons]


def platforms(system: str) -> list[str]:
    """Platform tags of a system, the oldest that is claimed."""
    *_, machine, tags = SYSTEMS[system]
    old = [f"manylinux{y}_{machine}" for y in ("2014", "2010", "1")]
    return tags or [f"manylinux_2_{n}_{machine}" for n in range(GLIBC, 4, -1)] + old


def surroundings(system: str, python: str) -> dict[str, str]:
    """What markers are evaluated with."""
    sys_platform, platform_system, machine, _ = SYSTEMS[system]
    return {
        "sys_platform": sys_platform,
        "platform_system": platform_system,
        "platform_machine": machine,
        "os_name": "nt" if sys_platform == "win32" else "posix",
        "python_version": python,
        "python_full_version": f"{python}.0",
        "implementation_name": "cpython",
        "platform_python_implementation": "CPython",
        "extra": "",
    }


def holds(marker: Marker | str | None, place: tuple[str, str]) -> bool:
    """Whether something with a marker is meant at a place."""
    return not marker or Marker(str(marker)).evaluate(surroundings(*place))


def requirements_of(lines: Sequence[str]) -> Iterator[Requirement]:
    """Declared requirements; those of the project's own extras in their place."""
    for line in lines:
        one = Requirement(line)
        if one.name == DATA["name"]:
            for extra in one.extras:
                yield from requirements_of(DATA["optional-dependencies"][extra])
        else:
            yield one


DECLARED = {
    "base": list(requirements_of(DATA["dependencies"])),
    **{name: list(requirements_of(lines)) for name, lines in DATA["optional-dependencies"].items()},
}
DECLARED["build"] += list(requirements_of(PROJECT["build-system"]["requires"]))
DECLARED["pip"] = [Requirement("pip")]


# ---- the file ----------------------------------------------------------------------------------


def test_constraints_hold_no_address() -> None:
    assert "/" not in TEXT.replace("scripts/lock.py", "")
    assert not re.search(r"\b[\w-]+\.(org|com|net|io|dev|edu|internal|local)\b", TEXT)
    assert not re.search(r"^\s*-", re.sub(r"^ +--hash=sha256:.*$", "", TEXT, flags=re.M), re.M)


@pytest.mark.parametrize("pin", PINS, ids=lambda pin: f"{pin.name}-{pin.version}")
def test_every_entry_has_its_hashes(pin: pins.Pin) -> None:
    assert pin.hashes and len(set(pin.hashes)) == len(pin.hashes) == len(set(pin.files))
    assert all(re.fullmatch(r"[0-9a-f]{64}", value) for value in pin.hashes)
    assert pin.groups


def test_the_file_reads_back_as_it_was_written() -> None:
    """Nothing stands in the file that the reader passes over."""
    head, _, rest = TEXT.partition("\n\n")
    assert all(line.startswith("#") for line in head.splitlines())
    assert rest == "\n\n".join(pin.entry() for pin in PINS) + "\n"


@pytest.mark.parametrize("place", PLACES, ids="-".join)
def test_one_release_of_each_at_every_place(place: tuple[str, str]) -> None:
    names = [canonicalize_name(pin.name) for pin in PINS if holds(pin.marker, place)]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("place", PLACES, ids="-".join)
@pytest.mark.parametrize("group", DECLARED)
def test_everything_declared_is_covered(group: str, place: tuple[str, str]) -> None:
    here = {
        canonicalize_name(pin.name): pin
        for pin in PINS
        if holds(pin.marker, place) and group in pin.groups
    }
    for one in DECLARED[group]:
        if holds(one.marker, place):
            pin = here[canonicalize_name(one.name)]
            assert one.specifier.contains(pin.version), f"{one} against {pin.version}"


@pytest.mark.parametrize("place", PLACES, ids="-".join)
def test_every_release_has_a_wheel_at_every_place(place: tuple[str, str]) -> None:
    """So that nothing is compiled on the user's machine, numba and its like least of all."""
    system, python = place
    major, minor = map(int, python.split("."))
    known: set[Tag] = set(cpython_tags((major, minor), platforms=platforms(system)))
    known |= set(compatible_tags((major, minor), f"cp{major}{minor}", platforms(system)))
    without = [
        f"{pin.name} {pin.version}"
        for pin in PINS
        if holds(pin.marker, place) and not any(known & parse_tag(tag) for tag in pin.files)
    ]
    assert not without


def test_claimed_pythons_are_those_of_the_file() -> None:
    claimed = re.findall(r"Python :: (3\.\d+)", "\n".join(DATA["classifiers"]))
    assert sorted({python for _, python in PLACES}) == claimed
    assert set(CLAIMS) == set(SYSTEMS)
    assert DATA["requires-python"] == f">={claimed[0]}"  # no upper bound
    script = (ROOT / "scripts" / "bootstrap.sh").read_text(encoding="utf-8")
    bounds = re.findall(r"not \(3, (\d+)\) <= sys.version_info\[:2\] < \(3, (\d+)\)", script)
    oldest, newest = (int(p.partition(".")[2]) for p in (claimed[0], claimed[-1]))
    assert set(bounds) == {(str(oldest), str(newest + 1))}


def test_what_the_tests_need_of_the_installed_is_pinned() -> None:
    """Requirements of requirements, as the installed packages state them."""
    pinned = {canonicalize_name(pin.name) for pin in PINS}
    assert installed_with([one.name for one in DECLARED["base"] + DECLARED["test"]]) <= pinned


def installed_with(names: list[str]) -> set[str]:
    """Names of packages and of all that they need here."""
    seen: set[str] = set()
    todo = [(canonicalize_name(name), "") for name in names]
    done = set()
    while todo:
        name, extra = todo.pop()
        if (name, extra) in done:
            continue
        done.add((name, extra))
        try:
            lines = metadata.requires(name) or []
        except metadata.PackageNotFoundError:
            continue  # under another Python: ruptures
        seen.add(name)
        for one in map(Requirement, lines):
            if one.marker is None or one.marker.evaluate({"extra": extra}):
                todo += [(canonicalize_name(one.name), e) for e in ("", *one.extras)]
    return seen


if sys.platform == "linux":

    def test_the_base_installation_stays_small() -> None:
        """At most 900 MB (of 2^20 bytes) in site-packages, as `du -m` counts files."""
        blocks = 0
        for name in installed_with([one.name for one in DECLARED["base"]]):
            for file in metadata.files(name) or ():
                path = Path(str(file.locate()))
                blocks += path.stat().st_blocks if path.is_file() else 0
        assert 300 < blocks * 512 / 2**20 < 900


# ---- reading it --------------------------------------------------------------------------------


def listed(*groups: str) -> subprocess.CompletedProcess[str]:
    """What scripts/pins.py prints, without any library."""
    command = [sys.executable, "-I", "-S", str(ROOT / "scripts" / "pins.py"), *groups]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_a_group_is_listed_with_its_hashes_and_nothing_else() -> None:
    done = listed("pip")
    (pip,) = (pin for pin in PINS if "pip" in pin.groups)
    assert done.returncode == 0 and done.stdout == pip.requirement() + "\n"
    base = pins.read(listed("base").stdout)
    assert {pin.name for pin in base} == {pin.name for pin in PINS if "base" in pin.groups}


@pytest.mark.parametrize("groups", [(), ("tests",), ("base", "")])
def test_an_unknown_group_is_named(groups: tuple[str, ...]) -> None:
    done = listed(*groups)
    assert done.returncode == 2 and "expected" in done.stderr and not done.stdout


@pytest.mark.parametrize(
    "text",
    ["numpy>=2\n", "numpy==2.4 \\\n    --hash=md5:0\n", "numpy==2.4 \\\n", "-r other.txt\n",
     "numpy @ file.whl\n"],
)  # fmt: skip
def test_what_is_no_pin_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"line \d: got"):
        pins.read(text)


# ---- installing from it ------------------------------------------------------------------------


def test_nothing_is_installed_past_the_hashes() -> None:
    for file in (ROOT / "Makefile", ROOT / ".ci" / "run", *sorted((ROOT / "scripts").glob("*.sh"))):
        words = re.sub(r"\\\n\s*", "", file.read_text(encoding="utf-8"))
        for line in re.findall(r"pip install .*", words):
            if '"drypoint[' in line or not line.startswith("pip install --"):
                continue  # said to a person
            hashed = "--require-hashes" in line
            own = all(f in line for f in ("--no-deps", "--no-build-isolation", "--editable ."))
            assert hashed != own, line


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A folder with the scripts, an empty environment, and a wheel of a small package."""
    (tmp_path / "scripts").mkdir()
    for name in ("bootstrap.sh", "pins.py"):
        text = (ROOT / "scripts" / name).read_bytes()
        (tmp_path / "scripts" / name).write_bytes(text)
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / ".venv")], check=True)
    (tmp_path / "wheels").mkdir()
    with zipfile.ZipFile(tmp_path / "wheels" / "ink-1.0-py3-none-any.whl", "w") as wheel:
        wheel.writestr("ink.py", "COLOUR = 'black'\n")
        info = "ink-1.0.dist-info"
        wheel.writestr(f"{info}/METADATA", "Metadata-Version: 2.1\nName: ink\nVersion: 1.0\n")
        wheel.writestr(f"{info}/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\n"
                                        "Generator: hand\nTag: py3-none-any\n")  # fmt: skip
        names = ("ink.py", f"{info}/METADATA", f"{info}/WHEEL", f"{info}/RECORD")
        wheel.writestr(f"{info}/RECORD", "".join(f"{name},,\n" for name in names))
    return tmp_path


def install(project: Path, digest: str) -> subprocess.CompletedProcess[str]:
    """Install the group "bench", which is the small package with a hash."""
    pin = pins.Pin("ink", "1.0", "", ("bench",), ("py3-none-any",), (digest,))
    (project / "constraints.txt").write_text(pin.entry() + "\n", encoding="utf-8")
    own = {key: value for key, value in os.environ.items() if not key.startswith("PIP_")}
    own |= {"PIP_NO_INDEX": "1", "PIP_FIND_LINKS": str(project / "wheels")}
    return subprocess.run(
        ["bash", "scripts/bootstrap.sh", "bench"],
        cwd=project, env=own, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_an_exchanged_wheel_is_refused(project: Path) -> None:
    wheel = project / "wheels" / "ink-1.0-py3-none-any.whl"
    right = hashlib.sha256(wheel.read_bytes()).hexdigest()
    place = Path(sysconfig.get_path("purelib", "venv", {"base": str(project / ".venv")}))
    done = install(project, "0" * 64)
    assert done.returncode != 0 and not (place / "ink.py").exists()
    assert install(project, right).returncode == 0 and (place / "ink.py").exists()


# ---- advisories --------------------------------------------------------------------------------

TWO = "\n".join(
    pins.Pin("ink", v, m, ("base",), ("py3-none-any",), ("0" * 64,)).entry()
    for v, m in (("1.0", 'sys_platform == "win32"'), ("2.0", 'sys_platform != "win32"'))
)
KNOWN = (
    '{"dependencies": [{"name": "ink", "version": "1.0", "vulns": [{"id": "PYSEC-0000-1",'
    ' "fix_versions": ["2.0"], "aliases": ["CVE-0000-1"], "description": "d"}]}], "fixes": []}'
)
CLEAN = '{"dependencies": [{"name": "ink", "version": "2.0", "vulns": []}], "fixes": []}'
ABSENT = '{"dependencies": [{"name": "ink", "skip_reason": "not found"}], "fixes": []}'


class Answers:
    """pip-audit's place: what it prints for each (release, service)."""

    def __init__(self, by: dict[tuple[str, str], tuple[int, str, str]]) -> None:
        self.by, self.asked = by, []  # type: ignore[var-annotated]

    def __call__(self, command: Sequence[str]) -> subprocess.CompletedProcess[str]:
        """One call."""
        wanted = Path(command[command.index("--requirement") + 1]).read_text(encoding="utf-8")
        service = command[command.index("--vulnerability-service") + 1]
        self.asked.append((wanted.partition("==")[2], service))
        code, out, err = self.by[self.asked[-1]]
        return subprocess.CompletedProcess(command, code, out, err)


def test_an_advisory_ends_with_1(capsys: pytest.CaptureFixture[str]) -> None:
    """Both releases of one name are looked up."""
    run = Answers({("1.0", "pypi"): (1, KNOWN, ""), ("2.0", "pypi"): (0, CLEAN, "")})
    assert advisories.main(run, TWO) == 1
    said = capsys.readouterr().out
    assert "ink 1.0: PYSEC-0000-1 CVE-0000-1 (fixed in 2.0)" in said
    assert "1 advisories known for 2 releases" in said


def test_no_advisory_ends_with_0_and_what_was_not_looked_up_is_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    run = Answers({("1.0", "pypi"): (0, ABSENT, ""), ("2.0", "pypi"): (0, CLEAN, "")})
    assert advisories.main(run, TWO) == 0
    said = capsys.readouterr().out
    assert "does not have them: ink." in said and "known for 1 releases" in said


def test_no_list_ends_with_0_and_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    trace = "requests.exceptions.ConnectionError: name or service not known"
    run = Answers(
        {(v, s): (0, ABSENT, "") if s == "pypi" else (1, "", trace)
         for v in ("1.0", "2.0") for s in ("pypi", "osv")}
    )  # fmt: skip
    assert advisories.main(run, TWO) == 0
    assert {service for _, service in run.asked} == {"pypi", "osv"}
    said = capsys.readouterr().out
    assert said == "No list of advisories can be reached; 2 releases were not looked up.\n"


def test_a_question_that_failed_is_no_good_answer(capsys: pytest.CaptureFixture[str]) -> None:
    run = Answers({("1.0", "pypi"): (1, "", "No module named pip_audit")})
    assert advisories.main(run, TWO) == 2
    assert "No module named pip_audit" in capsys.readouterr().err


def test_advisories_are_no_part_of_what_runs_on_every_change() -> None:
    assert "advisories" not in (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in ("test", "check"):
        (needs,) = re.findall(rf"^{target}:(.*)$", makefile, re.MULTILINE)
        assert "advisories" not in needs
