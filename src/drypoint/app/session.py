"""One study as the pages see it. Its state is its files; here is only what was read from them.

Every act of a person is an entry in the decisions file. Whoever acts says which state he has before
him (``version``); when the study is another by then, nothing is written.
"""

from __future__ import annotations

import contextlib
import hashlib
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from drypoint.app.faults import NotFound, Overtaken
from drypoint.errors import DrypointError, StoreError, Where
from drypoint.locking import lock_file
from drypoint.recipe import (
    Conflict,
    Decision,
    Journal,
    Study,
    append_all,
    read_journal,
    read_study,
    redo,
    undo,
)
from drypoint.recipe.text import read_file, text_of
from drypoint.run import StudyResult, run_study
from drypoint.store import atomic_write, read_results
from drypoint.store.results import Results
from drypoint.version import __version__

#: How results stand to recipe and decisions.
NONE, CURRENT, OLDER = "none", "current", "older"


@dataclass(frozen=True)
class State:
    """A study as it lies on disk at one moment."""

    study: Study
    journal: Journal
    results: Results | None
    file_sha256: str

    @property
    def version(self) -> str:
        """Stands for the study file's bytes, the calibrations it names, and the decisions."""
        return version_of(self.file_sha256, self.study, self.journal)

    @property
    def work(self) -> str:
        """The work that makes its results: ``run``, or ``calibrate`` for a calibration."""
        return "run" if self.study.file.calibration is None else "calibrate"

    @property
    def accepted_sha256(self) -> str:
        """Hash of the file of an accepted calibration; empty where there is none."""
        keys = self.study.file.calibration
        if keys is None:
            return ""
        try:
            data = (self.study.folder / keys.file.replace("\\", "/")).read_bytes()
        except OSError:
            return ""
        return hashlib.sha256(data).hexdigest()

    @property
    def standing(self) -> str:
        """``none``, ``current`` or ``older``: what the results are to recipe and decisions."""
        if self.results is None:
            return NONE
        origin = self.results.manifest.origin
        same = (
            origin.recipe_hash == self.study.recipe_hash
            and origin.decisions_hash == self.journal.sha256
            and origin.version == __version__
        )
        return CURRENT if same else OLDER


def version_of(file_sha256: str, study: Study | None, journal: Journal | None) -> str:
    """The version of a study; a part that cannot be read is left out."""
    meaning = "" if study is None else study.recipe_hash
    decided = "" if journal is None else journal.sha256
    text = f"{file_sha256}\n{meaning}\n{decided}"
    return hashlib.sha256(text.encode("ascii")).hexdigest()[:20]


@dataclass(frozen=True)
class OnDisk:
    """The study file and its decisions, read once; ``None`` for what is wrong."""

    data: bytes
    study: Study | None
    journal: Journal | None

    @property
    def version(self) -> str:
        """As that of :class:`State`."""
        return version_of(hashlib.sha256(self.data).hexdigest(), self.study, self.journal)


class Session:
    """A study that pages have open."""

    def __init__(self, key: str, path: Path) -> None:
        self.key = key
        self.path = path
        self._writing = threading.Lock()
        self._loading = threading.Lock()
        self._kept: tuple[str, StudyResult] | None = None
        self._table: tuple[str, pl.DataFrame] | None = None

    def state(self) -> State:
        """Recipe, decisions and results as they are now.

        Raises
        ------
        RecipeError, DecisionError
            When one of the files is wrong.
        """
        data, study = self._read()
        try:
            results = read_results(study.results)
        except StoreError:
            results = None
        file_sha256 = hashlib.sha256(data).hexdigest()
        return State(study, read_journal(study.decisions), results, file_sha256)

    def _read(self) -> tuple[bytes, Study]:
        """The bytes of the study file, and the study that they mean."""
        data = read_file(self.path)
        return data, read_study(text_of(data, self.path), self.path)

    def on_disk(self) -> OnDisk:
        """The study file as it is now, whether it is right or not."""
        data = read_file(self.path)
        study = journal = None
        with contextlib.suppress(DrypointError):
            study = read_study(text_of(data, self.path), self.path)
            journal = read_journal(study.decisions)
        return OnDisk(data, study, journal)

    def decide(self, decisions: Sequence[Decision], version: str) -> State:
        """Add decisions, if the study still is what ``version`` says.

        Raises
        ------
        Overtaken
            When it is not; nothing is written then.
        DecisionError
            When a decision is wrong.
        """
        return self._add(version, lambda _: decisions)

    def undo(self, who: str, version: str) -> State:
        """Take the newest decision back, as an entry of its own."""
        return self._add(version, lambda journal: undo(journal.decisions, who))

    def redo(self, who: str, version: str) -> State:
        """Put the decision that was undone last in force again."""
        return self._add(version, lambda journal: redo(journal.decisions, who))

    def _add(self, version: str, make: Callable[[Journal], Sequence[Decision]]) -> State:
        with self._writing:
            data, study = self._read()
            journal = read_journal(study.decisions)
            if version_of(hashlib.sha256(data).hexdigest(), study, journal) != version:
                raise overtaken(self.path, journal)
            try:
                append_all(study.decisions, make(journal), seen=journal.sha256)
            except Conflict as error:
                raise Overtaken(error.what, where=error.where, remedy=error.remedy) from error
        return self.state()

    def write_recipe(self, text: str, version: str) -> State:
        """Replace the text of the study file by one that is right, if nobody else did.

        Raises
        ------
        Overtaken
            When the study is another than ``version`` says.
        RecipeError
            When the text is wrong; the file stays as it was.
        """
        with self._writing, lock_file(self.path.with_name(f".{self.path.name}.lock")):
            now = self.on_disk()
            if now.version != version:
                raise file_overtaken(self.path)
            read_study(text, self.path)
            # Checking takes a moment, in which an editor may save; it takes no lock.
            if read_file(self.path) != now.data:
                raise file_overtaken(self.path)
            atomic_write(self.path, text.encode("utf-8"))
        return self.state()

    def table(self, state: State) -> pl.DataFrame:
        """The table of tests that the last run wrote, kept while it is the same.

        Raises
        ------
        NotFound
            When there is none.
        """
        if state.results is None:
            raise NotFound(
                "The study has not been run yet.",
                where=Where(str(self.path)),
                remedy="Run it.",
            )
        files = state.results.manifest.files
        stamp = files.get("tests.parquet", "")
        kept = self._table
        if kept is None or kept[0] != stamp:
            kept = (stamp, state.results.table("tests"))
            self._table = kept
        return kept[1]

    def result(self) -> StudyResult:
        """The whole result in memory, from what the last run has kept.

        Raises
        ------
        NotFound
            When the study was not run since its recipe or decisions changed.
        """
        with self._loading:
            state = self.state()
            if state.standing != CURRENT or state.results is None:
                raise NotFound(
                    "There are no results of this state of the study yet.",
                    where=Where(str(self.path)),
                    remedy="Run the study.",
                )
            stamp = f"{state.version} {state.results.manifest.files}"
            if self._kept is None or self._kept[0] != stamp:
                self._kept = (stamp, run_study(state.study, write=False))
            return self._kept[1]

    def forget(self) -> None:
        """Let go of what is kept in memory."""
        self._kept = self._table = None


def overtaken(path: Path, journal: Journal | None) -> Overtaken:
    """The words for a page that is behind."""
    last = journal.decisions[-1] if journal is not None and journal.decisions else None
    newest = f" The newest decision: {last.what}, by {last.who}, {last.when}." if last else ""
    return Overtaken(
        "The study was changed in another window or by another person since this page was "
        f"loaded; nothing of yours was written.{newest}",
        where=Where(str(path)),
        remedy="Reload the page, look at what is new, and decide again.",
    )


def file_overtaken(path: Path) -> Overtaken:
    """The words for a page that would write over a study file that it has not seen."""
    return Overtaken(
        "The study was changed in another window or by another person, or its file in an editor, "
        "since this page was loaded; nothing of yours was written.",
        where=Where(str(path)),
        remedy="Copy your changes, reload the page, and make them again.",
    )


class Shelf:
    """Sessions by key. The results of few studies are kept in memory, the latest ones."""

    def __init__(self, root: Path, most: int = 3) -> None:
        self.root = root
        self.most = most
        self._sessions: dict[str, Session] = {}
        self._lock = threading.Lock()

    def session(self, key: str) -> Session:
        """The session of a study.

        Raises
        ------
        NotFound
            When there is no such study.
        """
        from drypoint.app.places import study_at

        path = study_at(self.root, key)
        with self._lock:
            session = self._sessions.pop(key, None) or Session(key, path)
            self._sessions[key] = session
            for old in list(self._sessions.values())[: -self.most]:
                old.forget()
        return session
