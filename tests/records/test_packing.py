"""Attributes of HDF5 datasets that scale: those of the CF conventions are applied, others asked
about. Expected numbers are computed by hand from the formula of the CF conventions (section
“Packed Data”): unpacked = packed * scale_factor + add_offset; missing values are compared with the
packed numbers (section “Missing Data”)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from drypoint.records import Column, Layout, read, understand

h5py = pytest.importorskip("h5py")

#: Stored integers, and the values that they stand for with 0.001 and 5 (force in mN), 0.5 (nm).
_N = 40
_RISE = np.concatenate([np.arange(_N // 2), np.arange(_N // 2)[::-1]])
_PACKED = (1000 * _RISE).astype("i2")


def packed_file(path: Path, attributes: dict[str, Any], root: dict[str, Any]) -> Path:
    """One invented test with packed force and plain time and depth."""
    with h5py.File(path, "w") as file:
        file.attrs.update(root)
        for name, unit, values in (
            ("time", "s", np.arange(_N) / 10.0), ("force", "mN", _PACKED),
            ("depth", "nm", 10.0 * _RISE),
        ):  # fmt: skip
            file.create_dataset(f"t/1/{name}", data=values).attrs["units"] = unit
        file["t/1/force"].attrs.update(attributes)
    return path


def force_mN(path: Path, **column: Any) -> np.ndarray:
    """Force as read, in mN."""
    declared = Column("force", unit="mN", **column)
    layout = Layout(inside=("/t/*",), columns={"force": declared} if column else {})
    outcome = read([path], layout)
    assert not outcome.set_aside, outcome.set_aside
    return outcome.batch.force * 1e3


CF = {"scale_factor": 0.001, "add_offset": 5.0}
WANTED = _RISE + 5.0


@pytest.mark.parametrize(
    "root",
    [
        {"Conventions": "CF-1.8"},
        {"Conventions": "ACDD-1.3, CF-1.11"},
        {"Conventions": np.array([b"COARDS"])},
        {"_NCProperties": "version=2,netcdf=4.9.2,hdf5=1.14.0"},
    ],
)
def test_the_convention_is_applied_and_noted(tmp_path: Path, root: dict[str, Any]) -> None:
    path = packed_file(tmp_path / "h.h5", CF, root)
    np.testing.assert_allclose(force_mN(path), WANTED, rtol=1e-12)
    notes = " ".join(read([path], Layout(inside=("/t/*",))).notes)
    assert "scale_factor (0.001) + add_offset (5) (CF conventions" in notes


def test_float32_attributes_and_missing_values(tmp_path: Path) -> None:
    given = {"scale_factor": np.float32(0.5), "_FillValue": np.int16(-32768), "missing_value": -1}
    path = packed_file(tmp_path / "h.h5", given, {"Conventions": "CF-1.8"})
    with h5py.File(path, "r+") as file:
        lateral = _PACKED.copy()
        lateral[3], lateral[5] = -32768, -1
        data = file.create_dataset("t/1/stage temperature", data=lateral)
        data.attrs.update({**given, "units": "°C"})
    outcome = read([path], Layout(inside=("/t/*",)))
    np.testing.assert_allclose(outcome.batch.force * 1e3, 500.0 * _RISE, rtol=1e-12)
    seen = next(v for k, v in outcome.batch.channels.items() if "temperature" in k)
    assert np.flatnonzero(np.isnan(seen)).tolist() == [3, 5]
    assert any("2 numbers are missing values by _FillValue and missing_value" in n
               for n in outcome.notes)  # fmt: skip


def test_a_missing_value_in_the_force_is_a_fault_with_its_row(tmp_path: Path) -> None:
    path = packed_file(tmp_path / "h.h5", {"_FillValue": np.int16(7000)}, {})
    (fault,) = read([path], Layout(inside=("/t/*",))).set_aside
    assert fault.line == 8 and "no number" in fault.reason


@pytest.mark.parametrize(
    "key", ["multiplier", "factor", "conversion", "resolution", "ScaleFactor", "Gain", "slope"]
)
def test_other_names_are_asked_about(tmp_path: Path, key: str) -> None:
    path = packed_file(tmp_path / "h.h5", {key: 0.001}, {"Conventions": "CF-1.8"})
    (fault,) = read([path], Layout(inside=("/t/*",))).set_aside
    assert f"{key} = 0.001" in fault.reason and 'attributes = "apply"' in fault.remedy
    (question,) = understand(path, Layout(inside=("/t/*",))).questions
    assert question.key == "columns.force.attributes"
    assert [c.rpartition("attributes = ")[2] for c in question.choices] == ['"apply"}', '"ignore"}']
    np.testing.assert_allclose(force_mN(path, attributes="apply"), _RISE, rtol=1e-12)
    np.testing.assert_allclose(force_mN(path, attributes="ignore"), _PACKED, rtol=1e-12)
    np.testing.assert_allclose(force_mN(path, scale=0.002), 2.0 * _RISE, rtol=1e-12)


@pytest.mark.parametrize(
    "given",
    [
        CF,  # no convention named
        {"scale_factor": "a thousandth"},
        {"scale_factor": np.array([0.1, 0.2])},
        {"scale_factor": 0.0},
        {"scale_factor": np.nan},
        {"add_offset": np.inf},
        {"scale_factor": 0.001, "gain": 3.0},
    ],
)
def test_what_the_convention_does_not_cover_is_asked_about(
    tmp_path: Path, given: dict[str, Any]
) -> None:
    root = {} if given is CF else {"Conventions": "CF-1.8"}
    path = packed_file(tmp_path / "h.h5", given, root)
    (fault,) = read([path], Layout(inside=("/t/*",))).set_aside
    assert "attributes" in fault.remedy
    if given is not CF:
        told = Layout(inside=("/t/*",), columns={"force": Column("force", attributes="apply")})
        (fault,) = read([path], told).set_aside
        assert fault.reason.startswith("force: invalid attributes")


def test_a_column_without_a_role_is_withheld(tmp_path: Path) -> None:
    path = packed_file(tmp_path / "h.h5", {}, {})
    with h5py.File(path, "r+") as file:
        file.create_dataset("t/1/strain gauge", data=_PACKED).attrs["multiplier"] = 0.25
        file["t/1"].attrs["multiplier"] = 4.0
    outcome = read([path], Layout(inside=("/t/*",)))
    assert len(outcome.batch) == 1 and "strain gauge" not in outcome.batch.channels
    notes = " ".join(outcome.notes)
    assert "multiplier = 0.25" in notes and "withheld" in notes
    assert "The attribute multiplier of /t/1 is not applied to anything." in notes


def test_tables_and_each_test_with_factors_of_its_own(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "h.h5", "w") as file:
        file.attrs["Conventions"] = "CF-1.8"
        table = np.stack([np.arange(_N), _RISE, 10 * _RISE], axis=1)
        for k in (1, 2):
            data = file.create_dataset(f"t/{k}", data=table)
            data.attrs["columns"] = ["Time (s)", "Force (mN)", "Depth (nm)"]
            data.attrs["scale_factor"] = np.array([0.1, k, 1.0])
    outcome = read([tmp_path / "h.h5"], Layout(inside=("/t/*",)))
    assert not outcome.set_aside and len(outcome.batch) == 2
    np.testing.assert_allclose(
        outcome.batch.force * 1e3, np.concatenate([_RISE, 2 * _RISE]), rtol=1e-12
    )


def test_factors_that_do_nothing_change_nothing(tmp_path: Path) -> None:
    path = packed_file(tmp_path / "h.h5", {"scale_factor": 1.0, "offset": 0}, {})
    np.testing.assert_allclose(force_mN(path), _PACKED, rtol=1e-12)
