"""Makes the pictures in docs/pictures from the demo.

    python scripts/docs_pictures.py

Writes the demo (seed 7) into a temporary folder, runs it, and draws with ``drypoint.figures``. The
same version gives the same pictures.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from drypoint import figures
from drypoint.run import StudyResult, run_study
from drypoint.run.calibrating import calibrate_study
from drypoint.run.registering import accept_calibration
from drypoint.simulation import make_demo

FOLDER = Path(__file__).resolve().parents[1] / "docs" / "pictures"
SEED = 7
DPI = 130.0


def pictures(result: StudyResult) -> dict[str, figures.Picture]:
    """File name -> figure."""
    return {
        "film-by-depth.png": figures.by_depth(result, "film"),
        "one-test-step-by-step.png": figures.steps(result, "G-17"),
        "glass-budget.png": figures.budget_bars(result, "glass"),
        "steel-map.png": figures.position_map(result, "steel", "H_IT"),
    }


def main() -> None:
    """Run the demo and write every picture."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        study = make_demo(Path(folder) / "demo", seed=SEED)
        found = calibrate_study(study.parent / "bench" / "bench.toml")
        accept_calibration(found, who="A. Example (invented)", when="2025-03-06T16:00:00Z")
        result = run_study(study, write=False)
        (FOLDER / "calibrated-area.png").write_bytes(figures.calibrated_area(found).png(DPI))
        for name, picture in pictures(result).items():
            (FOLDER / name).write_bytes(picture.png(DPI))
            print(f"docs/pictures/{name}: {picture.caption}\n  {picture.alt}")


if __name__ == "__main__":
    main()
