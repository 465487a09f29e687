"""Notes about reference materials whose name or value has changed since a study was written."""

from __future__ import annotations

from collections.abc import Mapping

from drypoint import materials
from drypoint.errors import DrypointError
from drypoint.parsing import toml_document
from drypoint.recipe.benches import LoadedBench
from drypoint.recipe.context import packaged
from drypoint.recipe.schema import StudyFile


def reference_notes(file: StudyFile, benches: Mapping[str, LoadedBench]) -> tuple[str, ...]:
    """A sentence for each specimen, substrate or bench that rests on a changed or former value."""
    found: list[str] = []
    for name, specimen in file.specimens.items():
        base = specimen.substrate
        for what, reference in (
            (f"Reference material of “{name}”", specimen.reference),
            (f"Substrate of “{name}”", base.reference if base is not None else None),
        ):
            if reference is None or not packaged(reference):
                continue  # what is unknown is refused elsewhere
            material, change = materials.load(reference), materials.change(reference)
            found += [f"{what}: {words}" for words in (change, material.warning) if words]
    for name, bench in benches.items():
        found += [f"Bench “{name}” was calibrated on {words}" for words in _of_bench(bench)]
    return tuple(found)


def _of_bench(bench: LoadedBench) -> list[str]:
    """Materials of a calibration file whose packaged value has changed since."""
    out = []
    for entry in toml_document(bench.text).get("references", []):
        try:
            material = materials.load(str(entry["name"]))
            change = materials.change(str(entry["name"]))
            M = float(entry["E_GPa"]) * 1e9 / (1 - float(entry["nu"]) ** 2)
        except (DrypointError, KeyError, TypeError, ValueError, ZeroDivisionError):
            continue  # a material of its own
        if change and abs(M / material.M - 1) > 1e-3:
            out.append(f"a value that has changed since. {change} Calibrate it again.")
    return out
