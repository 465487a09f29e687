"""What was done by hand, as a command and as Python: to be copied, and to be run again."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

from drypoint.recipe import Decision, Study


def snippets(decision: Decision, study: Study) -> dict[str, str]:
    """``command`` (empty where there is none for it) and ``python``."""
    return {
        "command": command_of(decision, study.path),
        "python": python_of(decision, study.path),
    }


def command_of(d: Decision, study: Path) -> str:
    """The command that writes the same decision; empty where only Python does."""
    if d.what not in ("exclude", "include"):
        return ""
    parts = ["drypoint", d.what, str(study), d.test or "", "--why", d.why, "--who", d.who]
    if d.cycle is not None:
        parts += ["--cycle", str(d.cycle)]
    return shlex.join(parts)


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


def _literal(value: Any) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    return repr(json.loads(json.dumps(value)))
