"""The lab's ledger as plain values: entries in words, and control charts of a tip."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from drypoint.figures.labels import number
from drypoint.run.columns import factor_of, unit_text
from drypoint.run.remembering import health_of

if TYPE_CHECKING:
    from datetime import date

    from drypoint.calibration.charts import Chart
    from drypoint.ledger import Body, Entry, Ledger

#: Most entries that are sent, the newest ones.
_MOST = 1000


def open_ledger() -> Ledger:
    """The lab's ledger; none is begun by looking at it.

    Raises
    ------
    LedgerError
        When there is none, or it cannot be read.
    """
    from drypoint.ledger import Ledger

    return Ledger.open(create=False)


def entries_of(book: Ledger, name: str = "", *, everything: bool = False) -> dict[str, Any]:
    """Entries that hold now, or all that was ever entered about a thing; names of all tips."""
    from drypoint.ledger import Body, HealthBody, TipBody

    now = book.entries() if everything else book.current(Body)
    found = book.history(name) if name else now
    tips = dict.fromkeys([e.name for e in book.current(TipBody)])
    depths: dict[str, list[float]] = {}
    for e in book.current(HealthBody):
        known = depths.setdefault(e.body.tip, [])
        at = e.body.depth_m / factor_of("h_c")
        if not any(np.isclose(at, d, rtol=1e-6) for d in known):
            known.append(at)
    tips |= dict.fromkeys(depths)
    return {
        "place": str(book.place),
        "head": str(book.head()),
        "breaks": [str(b) for b in book.verify()],
        "total": len(found),
        "entries": [_entry(e) for e in found[-_MOST:][::-1]],
        "tips": [{"name": t, "depths": sorted(depths.get(t, []))} for t in tips],
    }


def _entry(e: Entry[Body]) -> dict[str, Any]:
    b = e.body
    verdict, block = getattr(b, "verdict", None), getattr(b, "block", None)
    words = [] if e.corrects is None else [f"in place of {e.corrects}"]
    if verdict is not None:
        words.insert(0, verdict if block is None else f"{verdict} on {block}")
    return {
        "id": e.id,
        "kind": e.kind,
        "name": e.name,
        "on": getattr(b, "on", getattr(b, "issued", "")),
        "when": e.when,
        "who": e.who,
        "why": e.why,
        "words": ", ".join(words),
        "hash": e.hash,
    }


def charts_of(book: Ledger, tip: str, depth_nm: float | None = None) -> dict[str, Any]:
    """Single checks and their weighted average with limits (µm²), the change, what used the tip.

    Raises
    ------
    LedgerError, CalibrationError
        When there are no readings, too few, or several depths and none is chosen.
    """
    depth = None if depth_nm is None else depth_nm * factor_of("h_c")
    health, since = health_of(book, tip, depth=depth)
    f = factor_of("A_p")
    at = book.health(tip, depth=depth).depth / factor_of("h_c")
    good = since.good
    return {
        "tip": tip,
        "depth": f"{at:.4g}",
        "unit": unit_text("A_p"),
        "state": health.state,
        "days": [_day(p.day) for p in health.points],
        "value": [p.value / f for p in health.points],
        "u": [p.u / f for p in health.points],
        "text": [number(p.value / f, 4) for p in health.points],
        "single": _chart(health.shewhart, f),
        "average": _chart(health.ewma, f),
        "after": list(health.after),
        "between": None if health.between is None else [_day(d) for d in health.between],
        "doubtful_since": None if health.doubtful_since is None else _day(health.doubtful_since),
        "findings": [
            {"sentence": x.sentence, "next": x.next_step, "serious": x.serious}
            for x in health.findings
        ],
        "good": None
        if good is None
        else {"on": good.body.on, "block": good.body.block or "", "entry": good.id},
        "bad": [{"on": v.body.on, "verdict": v.body.verdict, "entry": v.id} for v in since.bad],
        "studies": [
            {"name": s.body.name, "to": s.body.measured_to or s.body.on, "entry": s.id}
            for s in since.studies
        ],
    }


def _chart(c: Chart, f: float) -> dict[str, Any]:
    return {
        "value": (c.value / f).tolist(),
        "centre": c.centre / f,
        "sigma": c.sigma / f,
        "lower": (c.lower / f).tolist(),
        "upper": (c.upper / f).tolist(),
        "signals": [[s.at, s.rule] for s in c.signals],
    }


def _day(d: date) -> str:
    return d.isoformat()
