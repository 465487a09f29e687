"""Where the pinned releases must run: systems, Pythons, and the environment markers of both."""

from __future__ import annotations

from dataclasses import dataclass

from packaging.markers import Marker

PYTHONS = ("3.11", "3.12", "3.13", "3.14")
X86_MAC = 'sys_platform == "darwin" and platform_machine == "x86_64"'
NOT_X86_MAC = 'sys_platform != "darwin" or platform_machine != "x86_64"'
MARKERS = (
    *(f'sys_platform {sign} "{name}"'
      for sign in ("==", "!=") for name in ("win32", "darwin", "linux")),
    *(f'python_version {sign} "{version}"' for sign in ("<", ">=") for version in PYTHONS[1:]),
    X86_MAC,
    NOT_X86_MAC,
)  # fmt: skip
# cryptography, llvmlite and numba are not built for Macs with x86-64 processors any more; the last
# numba there needs an older numpy.
OLDER = {
    "macos_x86_64": {
        "cryptography": "48.0.1",
        "llvmlite": "0.45.1",
        "numba": "0.62.1",
        "numpy": "2.3.5",
    }
}


def _linux(machine: str, newest: int) -> tuple[str, ...]:
    old = [f"manylinux{y}_{machine}" for y in ("2014", "2010", "1")]
    return (*(f"manylinux_2_{n}_{machine}" for n in range(newest, 4, -1)), *old)


@dataclass(frozen=True)
class System:
    """A system as environment markers name it, and the platform tags of its oldest and newest."""

    name: str
    sys_platform: str
    machine: str
    platforms: tuple[tuple[str, ...], ...]
    pythons: tuple[str, ...] = PYTHONS


SYSTEMS = (
    System("linux_x86_64", "linux", "x86_64", (_linux("x86_64", 28), _linux("x86_64", 41))),
    System("linux_aarch64", "linux", "aarch64", (_linux("aarch64", 28), _linux("aarch64", 41))),
    System("macos_arm64", "darwin", "arm64", (("macosx_12_0_arm64",), ("macosx_26_0_arm64",))),
    System(
        "macos_x86_64", "darwin", "x86_64",
        (("macosx_11_0_x86_64",), ("macosx_15_0_x86_64",)), PYTHONS[:-1],
    ),
    System("windows_amd64", "win32", "AMD64", (("win_amd64",),)),
)  # fmt: skip


@dataclass(frozen=True)
class Place:
    """One system under one Python."""

    system: System
    python: str

    def markers(self) -> dict[str, str]:
        """What environment markers are evaluated with (PEP 508)."""
        names = {"linux": "Linux", "darwin": "Darwin", "win32": "Windows"}
        return {
            "implementation_name": "cpython",
            "implementation_version": f"{self.python}.0",
            "os_name": "nt" if self.system.sys_platform == "win32" else "posix",
            "platform_machine": self.system.machine,
            "platform_python_implementation": "CPython",
            "platform_release": "",
            "platform_system": names[self.system.sys_platform],
            "platform_version": "",
            "python_full_version": f"{self.python}.0",
            "python_version": self.python,
            "sys_platform": self.system.sys_platform,
        }


PLACES = tuple(Place(system, python) for system in SYSTEMS for python in system.pythons)


def marker_for(places: set[Place]) -> tuple[str, set[Place]]:
    """The tightest marker that holds at all of these places, and where it holds."""
    held = {m: {p for p in PLACES if Marker(m).evaluate(p.markers())} for m in MARKERS}
    fitting = [(len(at), m) for m, at in held.items() if places <= at]
    if not fitting or min(fitting)[0] >= len(PLACES):
        return "", set(PLACES)
    marker = min(fitting)[1]
    return marker, held[marker]
