"""What a run would do: what is new, what is kept, what would be computed. Nothing is changed."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from drypoint.errors import StoreError
from drypoint.recipe import Study, load_study, read_journal
from drypoint.run.groups import jobs_of, with_laws
from drypoint.run.progress import Watch
from drypoint.run.reading import read_study_records
from drypoint.store.cache import Cache
from drypoint.store.manifest import Origin
from drypoint.store.results import read_results
from drypoint.version import __version__


@dataclass(frozen=True)
class Plan:
    """What a run would do.

    Against the earlier results (``earlier`` is false where there are none): files that are
    ``new``, ``changed``, ``same`` or ``gone``, and whether ``recipe``, ``decisions`` or the
    ``version`` of Drypoint are others than then. Against what is kept of earlier work: files
    ``to_read``, and tests ``to_reduce`` or ``kept``. Tests in files that are yet to be read are in
    neither number. ``to_solve`` and ``solved`` are the stress runs, by name.
    """

    earlier: bool
    new: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]
    gone: tuple[str, ...]
    recipe: bool
    decisions: bool
    version: bool
    to_read: tuple[str, ...]
    to_reduce: tuple[str, ...]
    kept: int
    to_solve: tuple[str, ...] = ()
    solved: tuple[str, ...] = ()

    @property
    def up_to_date(self) -> bool:
        """Whether the earlier results are what a run would give."""
        moved = self.new or self.changed or self.gone
        return self.earlier and not (moved or self.recipe or self.decisions or self.version)


def plan_study(
    study: Study | Path | str, *, out: Path | str | None = None, use_cache: bool = True
) -> Plan:
    """Say what :func:`~drypoint.run.study_run.run_study` would do, with the same arguments.

    Raises
    ------
    RecipeError, DecisionError
        When study file or decisions are wrong.
    """
    if not isinstance(study, Study):
        study = load_study(Path(study))
    journal = read_journal(study.decisions)
    cache = replace(Cache.beside(study.path), looking=True)
    to_read: list[str] = []
    readings = read_study_records(study, cache if use_cache else None, Watch(), missing=to_read)
    hashes = dict(readings.hashes)
    if study.file.tracks:
        from drypoint.run.scratching import tracks_to_do

        more, mine = tracks_to_do(study, cache if use_cache else None)
        to_read += more
        hashes.update(mine)
    jobs = jobs_of(study, readings.parts, journal.effective)
    kept = cache if use_cache else None
    jobs = with_laws(jobs, journal.effective, kept, Watch(), looking=True)
    reduce = [j for j in jobs if not use_cache or not cache.has(j.key)]
    names = [t.name for j in reduce for t in j.batch.tests]
    solved = [] if not use_cache else [n for n in study.file.stress if _solved(study, n, cache)]
    then = _earlier(Path(out) if out is not None else study.results)
    before = {} if then is None else dict(then.inputs)
    now = hashes
    return Plan(
        earlier=then is not None,
        new=tuple(f for f in now if f not in before),
        changed=tuple(f for f in now if f in before and before[f] != now[f]),
        same=tuple(f for f in now if before.get(f) == now[f]),
        gone=tuple(f for f in before if f not in now),
        recipe=then is not None and then.recipe_hash != study.recipe_hash,
        decisions=then is not None and then.decisions_hash != journal.sha256,
        version=then is not None and then.version != __version__,
        to_read=tuple(to_read),
        to_reduce=tuple(dict.fromkeys(names)),
        kept=sum(len(p.batch) for p in readings.parts) - len(set(names)),
        to_solve=tuple(n for n in study.file.stress if n not in solved),
        solved=tuple(solved),
    )


def _solved(study: Study, name: str, cache: Cache) -> bool:
    """Whether the finite elements of a stress run are kept."""
    from drypoint.run.stress_view import problem_and_key

    return cache.has(problem_and_key(study, name)[1])


def _earlier(folder: Path) -> Origin | None:
    try:
        return read_results(folder).manifest.origin
    except StoreError:
        return None
