"""What was done by hand, as a command and as Python: to be copied, and to be run again."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

from drypoint.recipe import Decision, Study
from drypoint.run.stress_view import WhatIf


def snippets(decision: Decision, study: Study) -> dict[str, str]:
    """``command`` (empty where there is none for it) and ``python``."""
    return {
        "command": command_of(decision, study.path),
        "python": python_of(decision, study.path),
    }


def command_of(d: Decision, study: Path) -> str:
    """The command that writes the same decision; empty where only Python does."""
    if d.what == "critical_load" and d.value is not None:
        return _load_command(d, study)
    if d.what not in ("exclude", "include"):
        return ""
    parts = ["drypoint", d.what, str(study), d.test or "", "--why", d.why, "--who", d.who]
    if d.cycle is not None:
        parts += ["--cycle", str(d.cycle)]
    return shlex.join(parts)


def _load_command(d: Decision, study: Path) -> str:
    value = dict(d.value)
    parts = ["drypoint", "critical-load", str(study), d.test or "", value.pop("verdict")]
    for k, v in value.items():
        parts += [f"--{k.replace('_', '-')}", str(v)] if v is not None else []
    return shlex.join([*parts, "--why", d.why, "--who", d.who])


def python_of(d: Decision, study: Path) -> str:
    """Python that writes the same decision."""
    given: dict[str, Any] = {"who": d.who, "what": d.what, "test": d.test, "cycle": d.cycle,
                             "value": d.value, "why": d.why}  # fmt: skip
    keys = [
        f"        {k}={_literal(v)},"
        for k, v in given.items()
        if v is not None or (k == "value" and d.what not in ("exclude", "include", "remark"))
    ]
    return "\n".join(
        [
            "from drypoint.recipe import Decision, append, load_study",
            "",
            f"study = load_study({_literal(str(study))})",
            "append(",
            "    study.decisions,",
            "    Decision(",
            *keys,
            "    ),",
            ")",
        ]
    )


def report_python(study: Path) -> str:
    """Python that writes the report."""
    return "\n".join(
        [
            "from drypoint import run_study, write_report",
            "",
            f"write_report(run_study({_literal(str(study))}, write=False))",
        ]
    )


def stress_python(study: Path, name: str, what: WhatIf) -> str:
    """Python that solves a stress run, with the numbers that are given in place of the study's."""
    path = _literal(str(study))
    shown = "print(result.key, result.run.force.max(), result.run.depth.max())"
    if what.nothing:
        return "\n".join(
            ["from drypoint import run_stress", "",
             f"result = run_stress({path}, {_literal(name)})", shown]
        )  # fmt: skip
    given = {k: getattr(what, k) for k in ("force_mN", "depth_nm", "quality", "residual_GPa")}
    keys = ", ".join(f"{k}={_literal(v) if isinstance(v, str) else repr(v)}"
                     for k, v in given.items() if v is not None)  # fmt: skip
    return "\n".join(
        [
            "from drypoint import load_study, run_stress",
            "from drypoint.run.stress_view import WhatIf, changed_run",
            "",
            f"study = changed_run(load_study({path}), {_literal(name)}, WhatIf({keys}))",
            f"result = run_stress(study, {_literal(name)})",
            shown,
        ]
    )


def _literal(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(json.loads(json.dumps(value)))
