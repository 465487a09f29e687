"""What is understood of a file, as a value; tables of a file that are laid out alike as one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from drypoint.records.columns import ColumnFound
from drypoint.records.layout import Layout, SetAside
from drypoint.records.question import Question


@dataclass(frozen=True)
class TestFound:
    """One test of a file. ``rate_Hz`` is from the median step; ``jitter`` is the spread of the
    steps (robust, as a share of the median step); ``gaps`` are (after line, seconds)."""

    __test__ = False  # not a pytest class

    name: str
    samples: int
    first_line: int | None
    last_line: int | None
    duration_s: float | None = None
    rate_Hz: float | None = None
    jitter: float | None = None
    gaps: tuple[tuple[int, float], ...] = ()
    max_force_N: float | None = None
    max_depth_m: float | None = None


@dataclass(frozen=True)
class Understanding:
    """Everything found in one file, and what is open. Parts not reached stay ``None`` or empty.

    ``kind`` is ``text``, ``workbook``, ``parquet`` or ``hdf5``. ``places`` names what was looked at
    inside the file (sheets, members, groups); ``layout`` is what was declared, ``saved`` the name
    of a saved layout that was used, ``units`` the row of units.
    """

    path: str
    kind: str | None = None
    places: tuple[str, ...] = ()
    layout: Layout = field(default_factory=Layout)
    saved: str | None = None
    sha256: str | None = None
    encoding: str | None = None
    compressed: bool = False
    delimiter: str | None = None
    decimal: str | None = None
    header_line: int | None = None
    unit_line: int | None = None
    first_data_line: int | None = None
    split: str | None = None
    header: Mapping[str, str] = field(default_factory=dict)
    columns: tuple[ColumnFound, ...] = ()
    units: tuple[str, ...] = ()
    tests: tuple[TestFound, ...] = ()
    segment_labels: tuple[str, ...] = ()
    sampling_Hz: float | None = None
    missing: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    faults: tuple[SetAside, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def clear(self) -> bool:
        """Whether :func:`~drypoint.records.read.read` would read the file without asking."""
        return not self.questions and not any(f.test is None for f in self.faults)


def together(found: list[Understanding]) -> list[Understanding]:
    """Tables of one file that are laid out alike as one understanding."""
    groups: dict[object, list[Understanding]] = {}
    for k, u in enumerate(found):
        columns = tuple((c.index, c.name, c.role, c.unit) for c in u.columns)
        asked = tuple(q.what for q in u.questions)
        alone = k if u.kind is None or not (u.places and columns) else None
        key = (
            u.path, u.kind, u.delimiter, u.decimal, u.encoding, u.header_line, u.unit_line,
            u.first_data_line, u.split, columns, asked, u.saved, alone,
        )  # fmt: skip
        groups.setdefault(key, []).append(u)
    return [_merged(group) for group in groups.values()]


def _merged(group: list[Understanding]) -> Understanding:
    first = group[0]
    if len(group) == 1:
        return first
    header = {k: v for k, v in first.header.items() if all(u.header.get(k) == v for u in group)}
    return replace(
        first,
        places=tuple(p for u in group for p in u.places),
        header=header,
        tests=tuple(t for u in group for t in u.tests),
        segment_labels=tuple(dict.fromkeys(s for u in group for s in u.segment_labels)),
        missing=tuple(dict.fromkeys(m for u in group for m in u.missing)),
        faults=tuple(f for u in group for f in u.faults),
        notes=tuple(dict.fromkeys(n for u in group for n in u.notes)),
    )
