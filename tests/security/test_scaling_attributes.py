"""Attributes of HDF5 files that scale: none is applied unless a published convention or the study
file says so. Driven by the command line; the numbers are compared with those of the text files.

Expected: unpacked = packed * scale_factor + add_offset (CF conventions, section “Packed Data”);
here the packed numbers are made by the inverse of it, by hand.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from attacked import drypoint

h5py = pytest.importorskip("h5py")

_TEXT = 'files = ["raw/*.txt"]\nspecimen = "glass"\ndelimiter = ";"\ndecimal = ","\nsplit = "one"'
_HDF5 = 'files = ["raw.h5"]\nspecimen = "glass"\ninside = ["/t/*"]'
_FORCE = 'force = { name = "Force", unit = "mN" }'


def packed(study: Path, *, names: tuple[str, str], root: dict[str, str]) -> None:
    """Put an HDF5 file with packed forces in the place of the text files."""
    with h5py.File(study.parent / "raw.h5", "w") as file:
        file.attrs.update(root)
        for path in sorted((study.parent / "raw").glob("*.txt")):
            rows = []
            for line in path.read_text(encoding="utf-8", errors="replace").splitlines():
                cells = line.replace(",", ".").split(";")
                try:
                    rows.append([float(c) for c in cells if c.strip()])
                except ValueError:
                    continue
            time, force, depth = np.array([r[:3] for r in rows if len(r) >= 3]).T
            group = file.create_group(f"t/{path.stem}")
            group["Time"], group["Depth"] = time, depth
            data = group.create_dataset("Force", data=np.round((force - 2.0) / 1e-6).astype("i4"))
            for name, unit in (("Time", "s"), ("Force", "mN"), ("Depth", "nm")):
                group[name].attrs["units"] = unit
            data.attrs[names[0]], data.attrs[names[1]] = 1e-6, 2.0
    text = study.read_text(encoding="utf-8")
    assert _TEXT in text
    study.write_text(text.replace(_TEXT, _HDF5), encoding="utf-8")


def moduli(study: Path) -> list[float]:
    """Indentation moduli of the three tests (GPa)."""
    return pl.read_parquet(study.parent / "results" / "tests.parquet")["E_IT_GPa"].to_list()


def test_packed_forces_give_the_results_of_the_text(study: Path) -> None:
    before = moduli(study)
    packed(study, names=("scale_factor", "add_offset"), root={"Conventions": "CF-1.8"})
    said = drypoint("run", study, "--quiet")
    assert said.code == 0, said.text
    assert moduli(study) == pytest.approx(before, rel=1e-4)
    summary = (study.parent / "results" / "summary.json").read_text(encoding="utf-8")
    assert "CF conventions, packed data" in summary


@pytest.mark.parametrize(
    ("names", "root"),
    [
        (("multiplier", "offset"), {"Conventions": "CF-1.8"}),
        (("ScaleFactor", "AddOffset"), {"Conventions": "CF-1.8"}),
        (("scale_factor", "add_offset"), {}),
        (("conversion", "offset"), {}),
        (("resolution", "intercept"), {}),
    ],
)
def test_other_attributes_are_asked_about_and_the_answer_is_a_key(
    study: Path, names: tuple[str, str], root: dict[str, str]
) -> None:
    before = moduli(study)
    packed(study, names=names, root=root)
    said = drypoint("run", study)
    assert said.code == 1 and f"{names[0]} = 1e-06" in said.text
    assert 'attributes = "apply"' in said.text
    assert moduli(study) == before  # the earlier results stay
    looked = drypoint("inspect", study.parent / "raw.h5")
    assert names[1] in looked.text
    text = study.read_text(encoding="utf-8")
    answer = _FORCE.replace(" }", ', attributes = "apply" }')
    study.write_text(text.replace(_FORCE, answer), encoding="utf-8")
    said = drypoint("run", study, "--quiet")
    assert said.code == 0, said.text
    assert moduli(study) == pytest.approx(before, rel=1e-4)
