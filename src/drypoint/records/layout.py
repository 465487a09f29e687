"""How a raw file is to be read: the part of a recipe that the readers need.

Every field may be left open (``None``); the reader then finds it from the file and says what it
found, or refuses when the file can be read in two ways.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

#: Roles that a column can have. ``ignore`` drops it; ``test`` and ``segment`` are labels.
#: ``amplitude`` is that of the depth.
ROLES = (
    "time", "force", "depth", "lateral_force", "position", "x", "y",
    "amplitude", "force_amplitude", "phase", "frequency", "stiffness", "acoustic_emission",
    "temperature",
    "segment", "test", "ignore",
)  # fmt: skip

#: Dimension of each numeric role (see :data:`drypoint.units.SI`); others are kept as they are.
ROLE_DIMENSION: dict[str, str] = {
    "time": "time", "force": "force", "depth": "length", "lateral_force": "force",
    "position": "length", "x": "length", "y": "length", "amplitude": "length",
    "force_amplitude": "force", "phase": "angle", "frequency": "frequency",
    "stiffness": "stiffness", "temperature": "temperature",
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """A column declared by the user: found by ``name`` (as in the file) or ``index`` (from 1).

    ``attributes`` settles what attributes of its dataset that scale, such as ``multiplier``, mean:
    ``"apply"`` (number times factor plus offset) or ``"ignore"``.
    """

    name: str | None = None
    index: int | None = None
    unit: str | None = None
    scale: float = 1.0
    attributes: str | None = None


@dataclass(frozen=True)
class Layout:
    """How to read a raw file. ``None`` means: find out, and say so.

    ``split`` is ``"one"`` (one test a file), ``"blank lines"`` or ``"column"`` (by the column of
    role ``test``). ``delimiter`` is one of ``","``, ``";"``, ``"\\t"``, ``" "`` (any run of
    blanks), ``"|"``. ``sampling_Hz`` gives the time axis where a file has none. ``inside`` holds
    patterns of what is read in a file that holds several things: sheets of a workbook, members of
    a zip file, groups of an HDF5 file; where one stands in another, ``!`` parts the two patterns.
    Of a ``track`` force and position are needed, not depth; the segment is the pass, and its time
    may begin anew with every pass (it is kept as a channel).
    """

    delimiter: str | None = None
    decimal: str | None = None
    encoding: str | None = None
    header_line: int | None = None
    first_data_line: int | None = None
    split: str | None = None
    columns: Mapping[str, Column] = field(default_factory=dict)
    sampling_Hz: float | None = None
    comment: str | None = None
    inside: tuple[str, ...] = ()
    track: bool = False

    def __post_init__(self) -> None:
        if isinstance(self.inside, str):  # one pattern, not its letters
            object.__setattr__(self, "inside", (self.inside,))


@dataclass(frozen=True)
class SetAside:
    """A file or test that could not be used: its name, the reason in a sentence, what to do."""

    file: str
    test: str | None
    reason: str
    remedy: str
    line: int | None = None
    column: int | None = None
    stage: str = "reading"
