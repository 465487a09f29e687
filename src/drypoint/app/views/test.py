"""One test in full: as recorded, zeroed, corrected, with the fits and what they leave over."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint, session_of
from drypoint.app.buffers import MEDIA_TYPE, pack
from drypoint.app.pages import View
from drypoint.app.session import State
from drypoint.app.views.tests import TestName
from drypoint.figures.load_depth import thinned
from drypoint.figures.steps import contact_of
from drypoint.recipe.decisions import unknown_test
from drypoint.run.columns import factor_of

#: Most samples of one record that are sent; a page has no more points across.
MOST_SAMPLES = 12_000


def context(request: Request, state: State) -> Mapping[str, Any]:
    """The name of the test, and its neighbours in the table."""
    names = session_of(request).table(state)["test"].to_list()
    name = request.query_params.get("test", "")
    if name not in names:
        raise unknown_test(name, names, state.study.path)
    i = names.index(name)
    return {
        "test": name,
        "title": f"Test {name}",
        "before": names[i - 1] if i else None,
        "behind": names[i + 1] if i + 1 < len(names) else None,
        "place": i + 1,
        "of": len(names),
    }


def steps(request: Request, query: TestName) -> Response:
    """Samples of one test step by step (s, nm, mN), its segments, its fits."""
    session = session_of(request)
    result = session.result()
    names = result.tests_table["test"].to_list()
    if query.test not in names:
        raise unknown_test(query.test, names, result.study.path)
    c = result.curve(query.test)
    pick = thinned(len(c.force), MOST_SAMPLES)
    nm, mN = factor_of("h_c"), factor_of("F_max")
    timed = bool(np.isfinite(c.time).all())
    t = c.time if timed else np.arange(len(c.force), dtype=float)
    arrays: dict[str, Any] = {
        "time": t[pick],
        "raw_force": c.raw_force[pick] / mN,
        "raw_depth": c.raw_depth[pick] / nm,
        "force": c.force[pick] / mN,
        "zeroed": c.zeroed_depth[pick] / nm,
        "depth": c.depth[pick] / nm,
    }
    for i, (_, h, model, rest) in enumerate(c.fits):
        arrays |= {f"h{i}": h / nm, f"model{i}": model / mN, f"rest{i}": rest / mN * 1e3}
    last = len(t) - 1
    contact = contact_of(c)
    journal = session.state().journal
    override = journal.effective.override(query.test)
    return Response(
        pack(
            arrays,
            {
                "test": query.test,
                "samples": len(c.force),
                "timed": timed,
                "segments": [
                    {"kind": k, "from": float(t[a]), "to": float(t[min(b, last)]), "cycle": cy}
                    for k, a, b, cy in c.segments
                ],
                "cycles": [int(cycle) for cycle, *_ in c.fits],
                "contact": {
                    "raw_nm": float(c.raw_depth[contact] / nm),
                    "time": float(t[contact]),
                    "zero_nm": c.zero_depth / nm,
                    "u_nm": c.u_zero_depth / nm,
                },
                "drift": {"nm_per_s": c.drift_rate / nm, "u_nm_per_s": c.u_drift_rate / nm},
                "window": list(result.study.options().analysis.window),
                "drift_window": list(result.study.options().drift.window),
                "by_hand": bool(override.key),
                "decisions": list(override.ids),
            },
        ),
        media_type=MEDIA_TYPE,
    )


VIEW = View(
    "test",
    "",
    context,
    (
        Endpoint("GET", "/api/studies/{key}/test/steps", steps, "One test step by step",
                 query=TestName, gives=MEDIA_TYPE),
    ),
    under="tests",
)  # fmt: skip
