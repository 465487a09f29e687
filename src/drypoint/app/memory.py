"""Memory of a process, on each system, and the limit that some systems set themselves."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from pathlib import Path


def resident(pid: int) -> int:
    """Bytes of memory that a process fills; 0 where that cannot be told (it has ended)."""
    with contextlib.suppress(OSError, ValueError, IndexError, subprocess.SubprocessError):
        if sys.platform == "win32":
            return _windows(pid)
        if sys.platform == "linux":
            pages = Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1]
            return int(pages) * os.sysconf("SC_PAGE_SIZE")
        return from_ps(pid)
    return 0


def from_ps(pid: int) -> int:
    """The same by the command ``ps`` of POSIX, which gives kibibytes."""
    command = ["/bin/ps", "-o", "rss=", "-p", str(pid)]
    said = subprocess.run(command, capture_output=True, text=True, timeout=5, check=False)
    return 1024 * int(said.stdout.strip() or 0)


def limit(most: int) -> bool:
    """Let this process take ``most`` bytes more than it has; whether the system enforces that.

    Linux does. On macOS and Windows the workbench watches the process instead.
    """
    if sys.platform != "linux":
        return False
    import resource

    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    bound = pages * os.sysconf("SC_PAGE_SIZE") + most
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    if hard != resource.RLIM_INFINITY:
        bound = min(bound, hard)
    try:
        resource.setrlimit(resource.RLIMIT_AS, (bound, hard))
    except (OSError, ValueError):
        return False
    return True


def _windows(pid: int) -> int:
    """Working set of a process, by the system's own library."""
    if sys.platform != "win32":
        return 0
    import ctypes
    from ctypes import wintypes

    class Counters(ctypes.Structure):
        _fields_ = (
            ("cb", wintypes.DWORD),
            ("PageFaultCount", wintypes.DWORD),
            ("PeakWorkingSetSize", ctypes.c_size_t),
            ("WorkingSetSize", ctypes.c_size_t),
            ("QuotaPeakPagedPoolUsage", ctypes.c_size_t),
            ("QuotaPagedPoolUsage", ctypes.c_size_t),
            ("QuotaPeakNonPagedPoolUsage", ctypes.c_size_t),
            ("QuotaNonPagedPoolUsage", ctypes.c_size_t),
            ("PagefileUsage", ctypes.c_size_t),
            ("PeakPagefileUsage", ctypes.c_size_t),
        )

    kernel = ctypes.WinDLL("kernel32", use_last_error=True)
    kernel.OpenProcess.restype = wintypes.HANDLE
    handle = kernel.OpenProcess(0x1000 | 0x0010, False, pid)  # limited information, read
    if not handle:
        return 0
    try:
        held = Counters()
        held.cb = ctypes.sizeof(Counters)
        kernel.K32GetProcessMemoryInfo(wintypes.HANDLE(handle), ctypes.byref(held), held.cb)
        return max(int(held.WorkingSetSize), int(held.PagefileUsage))
    finally:
        kernel.CloseHandle(wintypes.HANDLE(handle))
