"""Makes docs/explanation/stress-gallery.md and its pictures: six cases under the tip.

    python scripts/stress_gallery.py

Solves each case (a quick mesh, some seconds), draws it with ``drypoint.figures``, and writes what
was found in the words of the report. The same version gives the same page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from drypoint import figures
from drypoint.figures.picture import Picture
from drypoint.report.stress_words import error_words, found_words, problem_words
from drypoint.run.elastic_first import names_of
from drypoint.run.stressing import StressResult, run_problem
from drypoint.stress import (
    Layer,
    Material,
    Problem,
    Profile,
    Protocol,
    Stack,
    cone,
    sphere,
)

DOCS = Path(__file__).resolve().parents[1] / "docs"
DPI = 110.0
DIAMOND = (1140e9, 0.07)


@dataclass(frozen=True)
class Case:
    """One case: what it is called and shows, what is solved, how it is drawn."""

    key: str
    title: str
    why: str
    stack: Stack
    tip: Profile
    force: float
    draw: Callable[[StressResult], Picture]


def tip(radius: float = 50e-9) -> Profile:
    """A blunted cone with a Berkovich pyramid's area, of diamond."""
    return cone(float(np.radians(70.3)), radius).elastic(*DIAMOND)


METAL = Material(200e9, 0.3, 0.5e9, exponent=0.1, name="metal")
SILICON = Material(165e9, 0.22, 5.0e9, name="wafer")
CASES = (
    Case(
        "metal", "A metal that hardens little",
        "The solid yields early and keeps its volume: it flows up beside the tip. The contact is "
        "larger than the depth tells, and an instrument that trusts the depth reads too hard and "
        "too stiff.",
        Stack(METAL), tip(), 10e-3, figures.under_the_tip,
    ),
    Case(
        "glass", "A glass-like solid",
        "A good part of the depth is elastic: the surface sinks in. What stays after unloading is "
        "under tension below and beside the dent, where lateral and radial cracks would start.",
        Stack(Material(72e9, 0.18, 5.5e9, name="glass")), tip(), 10e-3, figures.stress_maps,
    ),
    Case(
        "hard-film", "A hard film on a softer base",
        "The film bends into the base, which yields under it long before the film does in the "
        "bulk of its thickness. What the instrument reports belongs to neither.",
        Stack(
            Material(200e9, 0.3, 1.5e9, name="base"),
            (Layer(Material(350e9, 0.2, 12e9, name="film"), 500e-9),),
        ),
        tip(), 20e-3, figures.under_the_tip,
    ),
    Case(
        "soft-film", "A soft film on a hard base",
        "The film has nowhere to go but out and up: pile-up grows with depth, and the base does "
        "not yield. Hardness by the contact depth is far too high.",
        Stack(SILICON, (Layer(Material(70e9, 0.33, 0.25e9, exponent=0.1, name="film"), 500e-9),)),
        tip(), 1.2e-3, figures.under_the_tip,
    ),
    Case(
        "ball", "A ball, loaded past first yield",
        "Yield starts below the surface, at half the contact radius, and stays enclosed; around "
        "the contact the surface is in tension.",
        Stack(Material(200e9, 0.3, 3e9, name="metal")), sphere(5e-6).elastic(*DIAMOND), 3e-3,
        figures.stress_maps,
    ),
    Case(
        "pressed-film", "A film under residual compression",
        "The film was under 2 GPa of compression before the test. At the interface the tip presses "
        "and shears; after unloading the bond is pulled, which is where a film lifts off.",
        Stack(
            SILICON,
            (Layer(Material(300e9, 0.22, 9e9, name="film"), 300e-9, residual_stress=-2e9),),
        ),
        tip(), 15e-3, figures.interface_stress,
    ),
)  # fmt: skip


def solved(case: Case) -> StressResult:
    """The case's run."""
    problem = Problem(case.stack, case.tip, Protocol.to_force(case.force), name=case.key)
    return run_problem(problem, invented=True)


def part(case: Case, result: StressResult) -> str:
    """A case as a part of the page; its picture is written."""
    picture = case.draw(result)
    name = f"stress-{case.key}.png"
    (DOCS / "pictures" / name).write_bytes(picture.png(DPI))
    lines = [f"## {case.title}", case.why, problem_words(result.problem, names_of(result.problem))]
    lines += [f"![{picture.alt}](../pictures/{name})", f"*{picture.caption}*"]
    lines.append("\n".join(f"- {line}" for line in found_words(result)))
    seen = result.seen
    assert seen is not None
    lines.append(
        f"An instrument would report a hardness of {seen.H_IT / 1e9:.3g} GPa; it is "
        f"{result.run.hardness / 1e9:.3g} GPa. It would report a reduced modulus of "
        f"{seen.E_r / 1e9:.3g} GPa; it is {result.true_E_r / 1e9:.3g} GPa."
    )
    lines.append(error_words(result))
    return "\n\n".join(lines)


HEAD = """# Six cases under the tip

<!-- Made by scripts/stress_gallery.py; change that, not this. -->

Invented solids, a quick mesh, a few seconds each. How to make your own:
[stress under the tip](../how-to/stress-under-the-tip.md). How it works, and how good it is:
[finite elements under the tip](stress.md). The tip is a body of revolution: edges of a pyramid, and
cracks from its corners, are not in these pictures. Small waves in a record are the scatter that
each run tells of itself."""


def main() -> None:
    """Solve, draw and write."""
    parts = [HEAD]
    for case in CASES:
        result = solved(case)
        parts.append(part(case, result))
        print(f"{case.key}: {result.run.iterations} iterations, {result.run.stopped or 'whole'}")
    path = DOCS / "explanation" / "stress-gallery.md"
    path.write_text("\n\n".join(parts) + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
