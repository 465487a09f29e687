"""Stress in the workbench: other numbers without touching the study, and into it on request.
Invented data."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from app_demo import API
from starlette.testclient import TestClient

import drypoint
from drypoint.app.buffers import unpack
from drypoint.errors import DrypointError, StressError
from drypoint.recipe import load_study, read_study
from drypoint.recipe.to_stress import stress_problem
from drypoint.run.stress_view import WhatIf, changed_run, changed_text, kept_result, section
from drypoint.run.stressing import run_stress


def test_the_study_as_it_is_is_there_at_once(client: TestClient, root: Path) -> None:
    look = client.get(f"{API}/stress/look?name=film").json()
    assert look["kept"] and not look["changed"] and look["force_mN"] == 15.0
    assert [s["name"] for s in look["solids"]] == ["film", "wafer"]
    assert look["solids"][0]["residual_GPa"] == pytest.approx(-0.5)
    found = client.get(f"{API}/stress/found?name=film").json()
    one = run_stress(root / "demo" / "study.toml", "film")
    assert one.kept and found["peak"] == one.run.peak
    np.testing.assert_allclose(found["force_mN"], one.run.force * 1e3)
    assert any("Film" in w for w in found["words"]) and len(found["seen"]) == 3
    answer = client.get(f"{API}/stress/field?name=film&step={found['peak']}")
    arrays, head = unpack(answer.content)
    assert head["interfaces"] == 1 and len(arrays["corners"]) == 8 * len(arrays["von_mises"])
    assert arrays["principal"].max() <= found["limits"]["principal"][1] * (1 + 1e-6)
    assert client.get(f"{API}/stress/field?name=film&step=9999").status_code == 422
    assert client.get(f"{API}/stress/look?name=none").status_code == 422


def test_what_is_copied_does_the_same(
    client: TestClient, root: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = load_study(root / "demo" / "study.toml")
    made = []
    monkeypatch.setattr(drypoint, "run_stress", lambda s, name: made.append((s, name)) or kept)
    kept = run_stress(study, "film")
    exec(client.get(f"{API}/stress/look?name=film").json()["python"], {})
    asked = "force_mN=7.5&quality=quick&residual_GPa=0.25,0"
    exec(client.get(f"{API}/stress/look?name=film&{asked}").json()["python"], {})
    (path, one), (other, two) = made
    assert one == two == "film" and Path(path) == study.path
    what = WhatIf(force_mN=7.5, quality="quick", residual_GPa=(0.25, 0.0))
    assert other.file == changed_run(study, "film", what).file


def test_the_interface_carries_the_force(root: Path) -> None:
    """Pressure on the interface, over its area, is the force: equilibrium of the film.

    The film beyond 4 contact radii carries the small rest.
    """
    one = run_stress(root / "demo" / "study.toml", "film")
    r, across, _ = section(one, one.run.peak).stresses[0]
    ends = np.concatenate([[0.0], 0.5 * (r[1:] + r[:-1]), [r[-1]]])
    carried = -np.sum(across * np.pi * np.diff(ends**2)) * 1e9 * 1e-18
    assert carried == pytest.approx(one.run.force[one.run.peak], rel=0.12)


def test_what_if_leaves_the_study_alone(client: TestClient, root: Path) -> None:
    path = root / "demo" / "study.toml"
    before = path.read_bytes()
    look = client.get(f"{API}/stress/look?name=film&force_mN=7.5&residual_GPa=0.25,0").json()
    assert look["changed"] and not look["kept"]
    assert look["solids"][0]["residual_GPa"] == pytest.approx(0.25)
    assert "7.50 mN" in look["problem"]
    assert client.get(f"{API}/stress/found?name=film&force_mN=7.5").status_code == 404
    for wrong in ("force_mN=-1", "residual_GPa=1", "residual_GPa=a,b", "quality=best"):
        answer = client.get(f"{API}/stress/look?name=film&{wrong}")
        assert 400 <= answer.status_code < 423 and answer.json()["error"]["what"], wrong
    assert path.read_bytes() == before


def test_writing_changes_that_table_only(client: TestClient, root: Path) -> None:
    path = root / "demo" / "study.toml"
    before = path.read_text(encoding="utf-8")
    body = {"name": "film", "force_mN": 9.0, "residual_GPa": "-0.25,0"}
    stale = client.post(f"{API}/stress/write", json={**body, "version": "0" * 20})
    assert stale.status_code == 409 and path.read_text(encoding="utf-8") == before
    version = client.get(API).json()["version"]
    answer = client.post(f"{API}/stress/write", json={**body, "version": version})
    assert answer.status_code == 200, answer.text
    study = load_study(path)
    problem = stress_problem(study, "film")
    assert problem.protocol.force == pytest.approx(9e-3)
    assert problem.stack.stresses[0] == pytest.approx(-0.25e9)
    mine = [x for x in before.splitlines() if x not in path.read_text().splitlines()]
    assert all("force_mN" in x or "layers" in x for x in mine), mine


def test_a_table_that_is_not_there_is_refused(root: Path) -> None:
    study = load_study(root / "demo" / "study.toml")
    with pytest.raises(StressError, match="no"):
        changed_run(study, "no", WhatIf())
    inline = study.text.replace("[stress.film]", '[stress]\nfilm.quality = "quick"\n#')
    with pytest.raises(DrypointError):
        changed_text(read_study(inline, study.path), "film", WhatIf(force_mN=1.0))
    assert kept_result(changed_run(study, "film", WhatIf(force_mN=2.0)), "film") is None
