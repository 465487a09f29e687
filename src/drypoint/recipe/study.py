"""A study: the recipe as read from its file, checked, and ready for the rooms below."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePosixPath

from drypoint import materials, paths
from drypoint.errors import PathError, RecipeError, Where
from drypoint.recipe.base import to_si
from drypoint.recipe.benches import LoadedBench, bench_name, certified_frame, certified_tip
from drypoint.recipe.convert import (
    choices_for,
    declared_of,
    frame_of,
    layout_of,
    options_of,
    surroundings_of,
    with_oscillator,
)
from drypoint.recipe.hashing import canonical_hash
from drypoint.recipe.problems import Problem, show, unknown
from drypoint.recipe.schema import StudyFile
from drypoint.recipe.sections import Specimen
from drypoint.recipe.to_tip import tip_of
from drypoint.records.find import files_in, left_out_note
from drypoint.records.layout import Layout, SetAside
from drypoint.records.listing import Odd, find_files
from drypoint.reduction.options import Options
from drypoint.reduction.surroundings import Declared
from drypoint.tips.tip import Bench, Tip
from drypoint.uncertainty.joint import Joint, single


@dataclass(frozen=True)
class Study:
    """A checked study file.

    ``path`` is the file, ``text`` what it holds, ``file`` its keys with all defaults filled in
    (area functions kept in files of their own are put in their place), ``notes`` what the reader
    did, such as an upgrade from an older version; ``benches`` the calibration files it names.
    """

    path: Path
    text: str
    file: StudyFile
    notes: tuple[str, ...] = ()
    benches: Mapping[str, LoadedBench] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Name of the study."""
        return self.file.study.name

    @property
    def invented(self) -> bool:
        """Whether the study says that its data are invented."""
        return self.file.study.invented

    @property
    def recipe_hash(self) -> str:
        """SHA-256 of the recipe's meaning: comments, order and formatting do not change it."""
        if not self.benches:
            return canonical_hash(self.file)
        # A calibration belongs to the recipe's meaning, as an area function in a file does.
        return canonical_hash([self.file, {n: b.sha256 for n, b in self.benches.items()}])

    @property
    def text_sha256(self) -> str:
        """SHA-256 of the study file's text."""
        return hashlib.sha256(self.text.encode("utf-8")).hexdigest()

    @property
    def folder(self) -> Path:
        """Folder of the study file; all paths in it are relative to this one."""
        return self.path.parent

    @property
    def results(self) -> Path:
        """Folder of the results, inside that of the study file (``PathError`` where it is not)."""
        return paths.inside(self.folder, self.file.output.folder, what="folder of the results")

    @property
    def reports(self) -> Path:
        """Folder of the report, likewise."""
        name = self.file.output.report_folder
        return paths.inside(self.folder, name, what="folder of the report")

    @property
    def decisions(self) -> Path:
        """The decisions file beside the study file."""
        return self.path.with_name(self.path.stem + ".decisions.jsonl")

    def specimen(self, name: str) -> Specimen:
        """A specimen by its name."""
        if name not in self.file.specimens:
            what, allowed = unknown(name, "a specimen of this study", self.file.specimens)
            if not self.file.specimens:
                allowed = f"Add a table [specimens.{name}]."
            raise RecipeError(what, where=Where(str(self.path), key="specimens"), remedy=allowed)
        return self.file.specimens[name]

    def options(self, specimen: str | None = None) -> Options:
        """Choices of the reduction in SI: the study's, with those of a specimen in their place."""
        over = None if specimen is None else self.specimen(specimen)
        return options_of(choices_for(self.file, over))

    def surroundings(self, specimen: str) -> Declared:
        """Film, roughness, thickness, class of material and edges of a specimen, in SI."""
        return surroundings_of(self.specimen(specimen))

    def bench(self, tip: str | None = None, frame: str | None = None) -> Bench:
        """A tip in a frame, in SI. Names may be left out where there is one of each.

        Where no tip is named and the study has none, its only calibrated bench.
        """
        tips, frames = self.file.tips, dict(self.file.frames)
        if tip is None and frame is None and not tips:
            return self.calibrated(self._one(None, list(self.benches), "bench"))
        if self.file.frame is not None:
            frames["frame"] = self.file.frame
        used = self.tip(self._one(tip, list(tips), "tip"))
        stated = self.file.certificates
        name = "frame"
        if frames or frame is not None:
            name = self._one(frame, list(frames), "frame")
        on_frame = [c for c in stated if c.of == name and c.kind not in ("angle", "radius")]
        return Bench(used, frame_of(name, certified_frame(frames.get(name), on_frame)))

    def tip(self, name: str) -> Tip:
        """A tip by its name in [tips], in SI, as certified where it is."""
        stated = self.file.certificates
        mine = [c for c in stated if c.of == name and c.kind in ("angle", "radius")]
        return tip_of(name, certified_tip(self.file.tips[name], mine))

    def calibrated(self, name: str) -> Bench:
        """A calibrated bench by its name in [benches], with the dynamic constants given there."""
        bench = self.benches[name].exchanged.bench
        return replace(bench, frame=with_oscillator(bench.frame, self.file.benches[name]))

    def bench_of(self, i: int) -> Bench:
        """The bench of the records table ``i``."""
        records = self.file.records[i]
        name = bench_name(self.file, i)
        return self.calibrated(name) if name is not None else self.bench(records.tip, records.frame)

    def loaded_bench_of(self, i: int) -> LoadedBench | None:
        """The calibration file of the records table ``i``, where it uses one."""
        name = bench_name(self.file, i)
        return None if name is None else self.benches[name]

    def layout(self, i: int) -> Layout:
        """How the files of the records table ``i`` are to be read."""
        return layout_of(self.file.records[i])

    def declared(self, i: int) -> dict[str, str]:
        """What the records table ``i`` says in place of the headers of its files."""
        return declared_of(self.file.records[i])

    def specimen_nu(self, name: str) -> Joint:
        """Poisson's ratio of a specimen as an input ``nu.NAME`` with its uncertainty and origin."""
        name = self.nu_owner(name)
        specimen = self.specimen(name)
        if specimen.nu is not None:
            u = specimen.u_nu
            origin = f"specimen “{name}”, declared in the recipe"
            if u is None:
                origin += " without an uncertainty"
            return single(f"nu.{name}", specimen.nu, u or 0.0, origin)
        material = materials.load(specimen.reference or "")
        origin = f"reference material {material.name}: {material.citation}"
        return single(f"nu.{name}", material.nu, material.u_nu, origin)

    def nu_owner(self, name: str) -> str:
        """The specimen whose Poisson's ratio a specimen takes: its own, or that of ``nu_of``."""
        return self.specimen(name).nu_of or name

    def measured_areas(self) -> dict[tuple[str, int | None], tuple[float, float, str]]:
        """Areas measured on impressions: (test, cycle or None) -> (m², its u in m², how)."""
        return {
            (a.test, a.cycle): (to_si(a.A_um2, "µm²"), to_si(a.u_A_um2, "µm²"), a.how)
            for a in self.file.measured_areas
        }

    def record_files(self, i: int) -> tuple[str, ...]:
        """Files of the records table ``i``, sorted, as the study names them (with ``/``).

        Raises
        ------
        RecipeError
            When a pattern finds no file, or finds one that another records table has too.
        """
        return self._all_files()[i]

    def _all_files(self) -> list[tuple[str, ...]]:
        owner: dict[str, int] = {}
        found = []
        table = self.file.tests_table
        not_records = {table.file.replace("\\", "/")} if table is not None else set()
        for i, records in enumerate(self.file.records):
            names: set[str] = set()
            for pattern in records.files:
                matches, odd = self.find_all(pattern)
                if not matches and not odd:
                    raise RecipeError(
                        f"“{pattern}” finds no file in {self.folder}.",
                        where=Where(str(self.path), key=f"records[{i + 1}].files"),
                        remedy="Patterns are relative to the study file; * stands for any text, "
                        "** for any folders.",
                    )
                names.update(matches)
            names -= not_records
            for name in sorted(names):
                first = self.file.records[owner.setdefault(name, i)]
                if first is not records and not (first.inside and records.inside):
                    raise RecipeError(
                        f"{name} belongs to records[{owner[name] + 1}] too.",
                        where=Where(str(self.path), key=f"records[{i + 1}].files"),
                        remedy="Make the patterns narrower: a file is read once. A workbook, zip "
                        "or HDF5 file may be shared if each table says with inside what it takes.",
                    )
            found.append(tuple(sorted(names)))
        return found

    def find(self, pattern: str) -> list[str]:
        """Files that a pattern (or a folder) names, relative to the study file."""
        return self.find_all(pattern)[0]

    def find_all(self, pattern: str) -> tuple[list[str], list[Odd]]:
        """The same, and what was found beside them that is not opened, with reasons.

        Raises
        ------
        PathError
            When the pattern leads out of the folder that a workbench serves.
        """
        found = find_files(self.folder, pattern)
        files, odd = found.files, list(found.odd)
        for name in found.folders if not files else ():
            try:
                inner, _, more = files_in(self.folder / name)
            except OSError as error:
                odd.append(Odd(name, f"The folder is not readable ({error.strerror})."))
                continue
            files += [(PurePosixPath(name) / f.name).as_posix() for f in inner]
            odd += [replace(o, name=(PurePosixPath(name) / o.name).as_posix()) for o in more]
        return files, odd

    def odd_files(self, patterns: Iterable[str]) -> list[SetAside]:
        """What patterns find that is not opened: links that lead out, pipes, and the like."""
        odd = {o.name: o for pattern in patterns for o in self.find_all(pattern)[1]}
        return [SetAside(o.name, None, o.what, o.remedy, stage="finding") for o in odd.values()]

    def left_out(self, i: int) -> tuple[str, ...]:
        """Notes about files of folders of the records table ``i`` that are none by their names."""
        notes = []
        for pattern in self.file.records[i].files:
            folder = self.folder / pattern.replace("\\", "/")
            left = _left_in(folder)
            left = [p for p in left if p != self.path and p != self.decisions]
            if left:
                notes.append(left_out_note(pattern, left))
        return tuple(notes)

    def _one(self, given: str | None, known: list[str], kind: str) -> str:
        if given is None and len(known) == 1:
            return known[0]
        if given is not None and given in known:
            return given
        what, allowed = unknown(given or "", f"a {kind} of this study", known)
        raise RecipeError(what, where=Where(str(self.path), key=f"{kind}s"), remedy=allowed)


def _left_in(folder: Path) -> list[Path]:
    """Files of a folder that are not records by their names; none where it cannot be entered."""
    try:
        return files_in(folder)[1] if folder.is_dir() else []
    except (OSError, PathError):
        return []


def output_problems(study: Study) -> list[Problem]:
    """Folders of results and report, and a calibration's file, that lead out of the study's."""
    output, calibration = study.file.output, study.file.calibration
    found = []
    for path, name in (
        (("output", "folder"), output.folder),
        (("output", "report_folder"), output.report_folder),
        (("calibration", "file"), "" if calibration is None else calibration.file),
    ):
        if name and not paths.is_inside(study.folder / name.replace("\\", "/"), study.folder):
            what = f"{show(name)} leads out of the folder of the study file."
            remedy = "What is written lies inside that folder, also after links are followed."
            found.append(Problem(path, what, remedy))
    return found
