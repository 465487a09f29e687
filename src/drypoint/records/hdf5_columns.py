"""Columns of one test in an HDF5 file: values, units and what its attributes declare."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drypoint.records import header
from drypoint.records.hdf5_links import Own, numbers_elsewhere
from drypoint.records.layout import Layout
from drypoint.records.marks import numeric
from drypoint.records.names import take_apart

if TYPE_CHECKING:
    import h5py

_UNITS = ("unit", "units")
_NAMES = ("columns", "column_names", "names", "fields")
#: Attributes of other conventions that change numbers; they are not applied, so refused.
_CHANGING = ("scale_factor", "add_offset", "scale", "offset", "gain", "calibration_factor")
_USED = ("time", "force", "depth", "lateral_force")
#: Most bytes of a dataset, and most times the bytes that it fills in the file.
_MOST, _RATIO = 4_000_000_000, 2000


class UnfitError(Exception):
    """A group or dataset that is no test: what is wrong, and what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.what, self.remedy = what, remedy


@dataclass(frozen=True)
class DataColumn:
    """One column of a test."""

    name: str
    unit: str
    values: NDArray[Any]

    @property
    def numeric(self) -> bool:
        """Whether it holds numbers."""
        return self.values.dtype.kind in "iuf"


def columns_of(
    item: Any, layout: Layout, own: Own
) -> tuple[list[DataColumn], dict[str, str], list[str]]:
    """Columns, declared words and remarks of a group or of a dataset that is a table.

    Raises
    ------
    UnfitError
        It has none, or datasets of different lengths are needed together.
    """
    import h5py

    declared = words_of(item)
    if isinstance(item, h5py.Dataset):
        return _table(item, layout), declared, []
    columns: list[DataColumn] = []
    wanted = {c.name for c in layout.columns.values() if c.name and "/" in c.name}
    entries = list(own.children(item))
    entries += [(name, own.get(item, name)) for name in sorted(wanted)]
    for key, child in entries:
        if not isinstance(child, h5py.Dataset):
            continue
        if child.shape is None or child.dtype.kind not in "iufSO":
            continue
        if child.size == 1 and child.ndim == 0:
            if numbers_elsewhere(child):
                raise _elsewhere(key)
            _add(declared, key, _text(child[()]), _unit(child))
            continue
        if child.size == max(child.shape) and child.size > 0:
            columns.append(_column(str(key), child, layout))
    if not columns:
        raise UnfitError(
            "The group holds no dataset that is a column.",
            "Name the groups that hold time, force and depth under inside.",
        )
    kept = _same_length(columns, layout)
    lost = [c.name for c in columns if len(c.values) != len(kept[0].values)]
    remarks = [f"Left out, of another length: {', '.join(lost)}."] if lost else []
    return kept, declared, remarks


def _same_length(columns: list[DataColumn], layout: Layout) -> list[DataColumn]:
    """Columns as long as those that matter; these must agree."""
    named = {c.name for c in layout.columns.values()}
    matter = [
        c for c in columns
        if c.name in named or set(take_apart(c.name).claims) & set(_USED)
    ] or columns  # fmt: skip
    lengths = {c.name: len(c.values) for c in matter}
    if len(set(lengths.values())) > 1:
        shown = ", ".join(f"{k} {n}" for k, n in list(lengths.items())[:6])
        raise UnfitError(
            f"The datasets differ in length: {shown}.",
            "Write them with one value for each sample, or declare which ones are meant.",
        )
    n = next(iter(lengths.values()))
    return [c for c in columns if len(c.values) == n]


def _column(name: str, data: h5py.Dataset, layout: Layout) -> DataColumn:
    _check(name, data, layout)
    if data.dtype.kind in "SO":
        return DataColumn(name, "", np.array([_text(v) for v in data[()].ravel()], dtype=str))
    return DataColumn(name, _unit(data), np.asarray(data[()]).ravel())


def _check(name: str, data: h5py.Dataset, layout: Layout) -> None:
    if numbers_elsewhere(data):
        raise _elsewhere(name)
    stored = data.id.get_storage_size()
    if data.nbytes > _MOST or (data.chunks and stored * _RATIO < data.nbytes - 1e7):
        raise UnfitError(
            f"{name} claims {data.nbytes / 1e6:g} MB.", "Look at the file: it is damaged."
        )
    changing = [a for a in data.attrs if str(a).lower() in _CHANGING]
    own = [c for c in layout.columns.values() if c.name == name and c.scale != 1.0]
    for key in changing if not own else []:
        plain = 0.0 if "offset" in str(key).lower() else 1.0
        if _number(data.attrs[key]) == plain:
            continue
        raise UnfitError(
            f"{name} has the attribute {key}, which is not applied: nothing says for sure what is "
            "to be multiplied or added.",
            f'Declare scale for this column under [records.columns], with name = "{name}", or '
            "write the file with the numbers themselves.",
        )


def _elsewhere(name: str) -> UnfitError:
    return UnfitError(
        f"The numbers of {name} lie in another file.",
        "Write them into this one; its hash must cover them.",
    )


def _number(value: Any) -> float | None:
    """A number, where an attribute is one."""
    try:
        return float(np.asarray(value).ravel()[0])
    except (TypeError, ValueError, IndexError):
        return None


def _table(data: h5py.Dataset, layout: Layout) -> list[DataColumn]:
    """Columns of a compound or two-dimensional dataset."""
    _check(str(data.name), data, layout)
    units = _list(data, _UNITS)
    if data.dtype.names:
        names = list(data.dtype.names)
        values = data[()].ravel()
        columns = [values[n] for n in names]
    elif data.ndim == 2 and data.dtype.kind in "iuf":
        block = data[()]
        columns = [np.ascontiguousarray(block[:, k]) for k in range(block.shape[1])]
        names = _list(data, _NAMES) or [""] * len(columns)
    else:
        raise UnfitError(
            "The dataset is no table with several columns.",
            "Name the groups that hold time, force and depth under inside.",
        )
    if len(names) != len(columns) or len(units) not in (0, len(columns)):
        raise UnfitError(
            f"The dataset has {len(columns)} columns, {len(names)} names and {len(units)} units.",
            "Put its attributes right.",
        )
    if not len(columns[0]):
        raise UnfitError("The dataset is empty.", "Leave it out of inside.")
    out = []
    for name, unit, values in zip(names, units or [""] * len(names), columns, strict=True):
        if values.dtype.kind in "SO":
            values = np.array([_text(v) for v in values], dtype=str)
        elif values.dtype.kind not in "iuf" or values.ndim != 1:
            continue
        out.append(DataColumn(name, unit, values))
    return out


def _list(data: h5py.Dataset, keys: tuple[str, ...]) -> list[str]:
    for key in data.attrs:
        if str(key).lower() in keys:
            value = np.asarray(data.attrs[key])
            if value.ndim == 1:
                return [_text(v) for v in value]
            return [p.strip() for p in _text(data.attrs[key]).replace(";", ",").split(",")]
    return []


def _unit(data: h5py.Dataset) -> str:
    for key in data.attrs:
        if str(key).lower() in _UNITS:
            return _text(data.attrs[key])
    return ""


def words_of(item: Any) -> dict[str, str]:
    """Attributes of a group, dataset or file as header pairs."""
    declared: dict[str, str] = {}
    for key in item.attrs:
        if str(key).lower() in (*_UNITS, *_NAMES, *_CHANGING):
            continue
        value = np.asarray(item.attrs[key])
        if value.size == 1 and value.dtype.kind in "iufSUOb":
            _add(declared, str(key), _text(item.attrs[key]), "")
    return declared


def _add(declared: dict[str, str], key: str, value: str, unit: str) -> None:
    if not value or len(value) > 500:
        return
    named = take_apart(key)
    plain = " ".join(named.bare.replace("_", " ").split())
    if not unit and named.unit and numeric(value):
        unit = named.unit
    found = header.pair(f"{plain}: {value} {unit}".strip(), ":") if ":" not in plain else None
    if found is not None:
        header.add(declared, *found)


def _text(value: Any) -> str:
    if isinstance(value, np.ndarray):
        value = value.ravel()[0] if value.size else ""
    if isinstance(value, bytes):
        try:
            return value.decode("utf-8").strip()
        except UnicodeDecodeError:
            return value.decode("latin-1").strip()
    if isinstance(value, np.generic):
        value = value.item()
    return " ".join(str(value).split())
