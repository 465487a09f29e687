"""Columns of one test in an HDF5 file: values, units and what its attributes declare."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from drypoint.records import header
from drypoint.records.hdf5_links import Own, numbers_elsewhere
from drypoint.records.layout import Layout
from drypoint.records.marks import numeric
from drypoint.records.names import take_apart
from drypoint.records.packing import (
    SCALING,
    UnfitError,
    declared_for,
    names_convention,
    unpack,
)

if TYPE_CHECKING:
    import h5py

_UNITS = ("unit", "units")
_NAMES = ("columns", "column_names", "names", "fields")
_USED = ("time", "force", "depth", "lateral_force")
#: Most bytes of a dataset, and most times the bytes that it fills in the file.
_MOST, _RATIO = 4_000_000_000, 2000


@dataclass(frozen=True)
class DataColumn:
    """One column of a test. ``unsettled``: attributes of which nobody said how they scale it."""

    name: str
    unit: str
    values: NDArray[Any]
    unsettled: tuple[str, ...] = ()
    attributes: Mapping[str, Any] = field(default_factory=dict)

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
    convention = names_convention(own.file.attrs)
    if isinstance(item, h5py.Dataset):
        columns, remarks = _settled(_table(item), layout, convention)
        return columns, declared, remarks
    remarks = unapplied(item)
    columns = []
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
            remarks += _single(declared, str(key), child, convention)
            continue
        if child.size == max(child.shape) and child.size > 0:
            columns.append(_column(str(key), child))
    if not columns:
        raise UnfitError(
            "The group holds no dataset that is a column.",
            "Name the groups that hold time, force and depth under inside.",
        )
    kept = _same_length(columns, layout)
    lost = [c.name for c in columns if len(c.values) != len(kept[0].values)]
    remarks += [f"Left out, of another length: {', '.join(lost)}."] if lost else []
    kept, notes = _settled(kept, layout, convention)
    return kept, declared, [*remarks, *notes]


def _settled(
    columns: list[DataColumn], layout: Layout, convention: bool
) -> tuple[list[DataColumn], list[str]]:
    """Columns with their attributes applied as far as they are settled, and what was done."""
    out, notes = [], []
    for i, c in enumerate(columns, start=1):
        if c.numeric and c.attributes:
            try:
                found = unpack(c.values, c.attributes, declared_for(layout, c.name, i), convention)
            except UnfitError as error:
                raise UnfitError(f"{c.name}: {error.what}", error.remedy) from error
            notes += [f"{c.name or f'column {i}'}: {note}" for note in found.notes]
            c = DataColumn(c.name, c.unit, found.values, found.unsettled)
        out.append(c)
    return out, notes


def _single(declared: dict[str, str], key: str, data: h5py.Dataset, convention: bool) -> list[str]:
    """Declare a dataset that holds one value; what was done to it, or why it is withheld."""
    value = data[()]
    if data.dtype.kind not in "iuf":
        _add(declared, key, _text(value), _unit(data))
        return []
    found = unpack(np.array([value]), dict(data.attrs), None, convention)
    if found.unsettled:
        return [f"{key} is withheld: how {', '.join(found.unsettled)} scales it is not known."]
    if not np.isnan(found.values[0]):
        _add(declared, key, _text(found.values[0]), _unit(data))
    return [f"{key}: {note}" for note in found.notes]


def unapplied(item: Any) -> list[str]:
    """A sentence for each attribute of a group or file that scales something, one cannot say what.

    It is kept as a header entry."""
    found = [k for k, v in item.attrs.items() if str(k).lower() in SCALING and numeric(_text(v))]
    return [f"The attribute {k} of {item.name} is not applied to anything." for k in found]


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


def _column(name: str, data: h5py.Dataset) -> DataColumn:
    _check(name, data)
    if data.dtype.kind in "SO":
        return DataColumn(name, "", np.array([_text(v) for v in data[()].ravel()], dtype=str))
    values = np.asarray(data[()]).ravel()
    return DataColumn(name, _unit(data), values, attributes=dict(data.attrs))


def _check(name: str, data: h5py.Dataset) -> None:
    if numbers_elsewhere(data):
        raise _elsewhere(name)
    stored = data.id.get_storage_size()
    if data.nbytes > _MOST or (data.chunks and stored * _RATIO < data.nbytes - 1e7):
        raise UnfitError(
            f"{name} claims {data.nbytes / 1e6:g} MB.", "Look at the file: it is damaged."
        )


def _elsewhere(name: str) -> UnfitError:
    return UnfitError(
        f"The numbers of {name} lie in another file.",
        "Write them into this one; its hash must cover them.",
    )


def _table(data: h5py.Dataset) -> list[DataColumn]:
    """Columns of a compound or two-dimensional dataset."""
    _check(str(data.name), data)
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
    rows = zip(names, units or [""] * len(names), columns, strict=True)
    for k, (name, unit, values) in enumerate(rows):
        if values.dtype.kind in "SO":
            values = np.array([_text(v) for v in values], dtype=str)
        elif values.dtype.kind not in "iuf" or values.ndim != 1:
            continue
        out.append(DataColumn(name, unit, values, attributes=_of_column(data, k, len(names))))
    return out


def _of_column(data: h5py.Dataset, k: int, n: int) -> dict[str, Any]:
    """Attributes of a table as they hold for one of its columns: of a list with one value for
    each column, its own."""
    return {
        key: value[k] if isinstance(value, np.ndarray) and value.shape == (n,) else value
        for key, value in data.attrs.items()
    }


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
    import h5py

    declared: dict[str, str] = {}
    for key in item.attrs:
        if str(key).lower() in (*_UNITS, *_NAMES) or key in ("_FillValue", "missing_value"):
            continue
        if isinstance(item, h5py.Dataset) and str(key).lower() in SCALING:
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
