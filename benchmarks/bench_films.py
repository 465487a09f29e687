"""Do the stated intervals of film values hold the truth? Counted over invented benches.

Everything that is given (layers, bench, the elastic model's own error, noise) is drawn as it is
stated, anew for each seed; the truth of the film is fixed. Some cases draw something else than what
is stated, to see what that does. Prints a table; ``--write docs/reference/film-coverage.md`` writes
the page; ``--seeds N`` (400), ``--quick`` takes 8.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint import films
from drypoint.contact import layered as ly
from drypoint.films.given import U_MODEL, model_columns
from drypoint.threads import one_in_algebra
from drypoint.uncertainty.joint import single

Floats = NDArray[np.float64]
GPA, UM = 1e9, 1e-6
#: Relative standard uncertainties: noise of a test, scale of the area (of E*), substrate.
NOISE, AREA, SUBSTRATE = 0.02, 0.01, 0.02


@dataclass(frozen=True)
class World:
    """One kind of bench and specimen; moduli in GPa, lengths in um.

    ``depths`` contact radii from ``low`` to ``high``, each ``times`` over. ``u_t`` relative
    uncertainty of the thickness; ``seek`` what is sought besides the film's modulus; ``model``
    draws the elastic model's error at a/t (``None``: as stated). ``more`` multiplies the true
    noise; ``together`` of it is shared by the values of one test; ``under`` is the thickness of a
    second layer.
    """

    words: str
    E_f: float = 200.0
    E_s: float = 70.0
    depths: int = 10
    times: int = 3
    low: float = 0.1
    high: float = 2.0
    u_t: float = 0.02
    seek: str = ""
    model: Callable[[np.random.Generator, Floats], Floats] | None = None
    more: float = 1.0
    together: float = 0.0
    under: float = 0.0


def _level(rng: np.random.Generator, x: Floats) -> Floats:
    return np.full_like(x, U_MODEL * rng.standard_normal())


def _tilt(rng: np.random.Generator, x: Floats) -> Floats:
    return np.asarray(U_MODEL * rng.standard_normal() * np.log(x / x.min()) / np.log(20.0) * 1.7)


def _wave(rng: np.random.Generator, x: Floats) -> Floats:
    phase = rng.uniform(0, 2 * np.pi)
    return np.asarray(U_MODEL * np.sqrt(2) * np.sin(2 * np.log(x) + phase))


WORLDS = (
    World("stiff film, layers known as stated"),
    World("soft film", E_f=20.0, E_s=170.0),
    World("film and substrate alike", E_f=80.0, E_s=72.0),
    World("five tests", depths=5, times=1),
    World("shallow tests only", high=0.4),
    World("thickness known to 10 %", u_t=0.1),
    World("thickness sought, known to 10 % before", u_t=0.1, seek="t"),
    World("thickness sought, nothing known before", u_t=np.inf, seek="t"),
    World("substrate sought, nothing known before", seek="s"),
    World("a second layer below", under=0.5),
    World("ten depths in each of three tests, half of the noise in common", together=0.5),
    World("twice the noise that is stated", more=2.0),
    World("model's error the same at all depths", model=_level),
    World("model's error a straight line in ln a", model=_tilt),
    World("model's error a wave in ln a, two radians for a factor of e", model=_wave),
)


def drawn(w: World, rng: np.random.Generator) -> tuple[films.FilmTests, films.Structure]:
    """One bench: what it measured, and what it states."""
    z = rng.standard_normal
    t, nu_f, nu_s = UM, 0.25, 0.2
    E_s = w.E_s * GPA
    layers = [ly.Layer(w.E_f * GPA, nu_f, t)]
    if w.under:
        layers.append(ly.Layer(100 * GPA, 0.3, w.under * UM))
    stack = ly.Stack(tuple(layers), ly.Medium(E_s, nu_s))
    at = np.geomspace(w.low, w.high, w.depths) * UM
    a = np.tile(at, w.times)
    E = np.tile(ly.effective_modulus(stack, at), w.times)
    x = a / t
    if w.model is None:
        columns = model_columns(x)
        error = U_MODEL * columns @ z(columns.shape[1])
    else:
        error = w.model(rng, x)
    group = np.repeat(np.arange(w.times), w.depths) if w.together else None
    own = np.sqrt(1 - w.together) * z(len(a))
    if group is not None:
        own = own + np.sqrt(w.together) * z(w.times)[group]
    seen = E * np.exp(error + AREA * z() + w.more * NOISE * own)
    tests = films.FilmTests(
        a, seen, NOISE * seen, a / 3, single("tip.scale", 1.0, AREA), -seen[:, None],
        np.zeros((len(a), 1)), group,
    )  # fmt: skip
    u_t = 0.0 if np.isinf(w.u_t) else w.u_t
    t_said = t * (1 + u_t * z())
    thickness = films.known(t_said, u_t * t)
    if w.seek == "t":
        thickness = films.sought(t_said, w.u_t * t) if u_t else films.sought(2 * t)
    base = films.known(E_s * (1 + SUBSTRATE * z()), SUBSTRATE * E_s)
    if w.seek == "s":
        base = films.sought(1.5 * E_s)
    film = films.FilmLayer(
        "film", films.sought(100 * GPA), films.known(nu_f + 0.02 * z(), 0.02), thickness
    )
    held = [film]
    if w.under:
        held.append(
            films.FilmLayer(
                "under",
                films.known(100 * GPA * (1 + 0.05 * z()), 5 * GPA),
                films.known(0.3),
                films.known(w.under * UM),
            )
        )
    bottom = films.Substrate(base, films.known(nu_s + 0.02 * z(), 0.02))
    return tests, films.Structure(tuple(held), bottom)


@dataclass(frozen=True)
class Found:
    """Counts for one world: share of intervals that hold the truth, and their half width (%)."""

    words: str
    seeds: int
    held: float
    width: float
    off: float
    unlike: float

    @property
    def error(self) -> float:
        """Standard error of the share."""
        return float(np.sqrt(max(self.held * (1 - self.held), 0.25 / self.seeds) / self.seeds))


def modulus(w: World, seeds: int, k: int) -> Found:
    """Film modulus by the exact solution."""
    true, held, width, off, unlike = w.E_f * GPA, 0, [], [], 0
    for seed in range(seeds):
        rng = np.random.default_rng(np.random.SeedSequence((seed, k)))
        r = films.infer(*drawn(w, rng))
        low, high = r.interval("film.E")
        held += low <= true <= high
        width.append(np.log(high / low) / 2)
        off.append(np.log(r.best[0] / true))
        unlike += not r.fits
    return Found(w.words, seeds, held / seeds, 100 * float(np.median(width)),
                 100 * float(np.mean(off)), unlike / seeds)  # fmt: skip


def plateau(fall: float, seeds: int, k: int) -> Found:
    """Plateau of hardness: flat to a fifth of the thickness, then falling; or falling slowly from
    the surface by ``fall`` over the thickness."""
    beta, true, held, width, off, none = np.geomspace(0.03, 1, 40), 18.0, 0, [], [], 0
    if fall:
        H = true * (1 - fall * (1 - np.exp(-beta)))
        words = f"hardness falling from the surface, {100 * fall:.0f} % deep in the film"
    else:
        H = np.where(beta < 0.2, true, true - 6 * np.log(beta / 0.2))
        words = "hardness flat to a fifth of the thickness"
    for seed in range(seeds):
        rng = np.random.default_rng(np.random.SeedSequence((seed, 100 + k)))
        scale = 0.015 * rng.standard_normal()
        seen = H * GPA * np.exp(0.015 * rng.standard_normal(len(H)) + scale)
        tests = films.HardnessTests(
            beta, seen, 0.015 * seen, single("tip.scale", 1.0, 0.015), -seen[:, None]
        )
        p = films.plateau(tests)
        if p is None:
            none += 1
            continue
        low, high = p.interval()
        held += low <= true * GPA <= high
        width.append((high - low) / 2 / p.H)
        off.append(p.H / (true * GPA) - 1)
    n = max(seeds - none, 1)
    return Found(words + (f" ({none} without a plateau)" if none else ""), n, held / n,
                 100 * float(np.median(width)), 100 * float(np.mean(off)), 0.0)  # fmt: skip


def page(found: list[Found], hard: list[Found], seeds: int) -> str:
    """The reference page."""
    lines = [
        "# Coverage of film values",
        "",
        "<!-- Made by benchmarks/bench_films.py --write; change that, not this. -->",
        "",
        f"How often 95 % intervals hold the truth, over {seeds} invented benches a line. "
        "Everything given is drawn as it",
        f"is stated: {100 * NOISE:g} % noise a value, {100 * AREA:g} % for the area, "
        f"{100 * SUBSTRATE:g} % for the substrate, 0.02 for each Poisson's ratio,",
        f"2 % for the thickness unless said, and the elastic model's own error of "
        f"{100 * U_MODEL:g} %. Contact radii from 0.1 to 2",
        "thicknesses unless said. These benches obey our own laws; films that do not are in "
        "[films](../explanation/films.md).",
        "",
        "| case | held, % | half width, % | mean deviation, % | called unlike the layers, % |",
        "|---|---|---|---|---|",
    ]
    lines += [
        f"| {f.words} | {100 * f.held:.1f} ± {100 * f.error:.1f} | {f.width:.1f} | {f.off:+.1f} | "
        f"{100 * f.unlike:.1f} |"
        for f in found
    ]
    lines += [
        "",
        "Hardness of a film by its plateau, truth at the surface, 1.5 % noise a value and 1.5 % "
        "for the area:",
        "",
        "| case | held, % | half width, % | mean deviation, % |",
        "|---|---|---|---|",
    ]
    lines += [
        f"| {f.words} | {100 * f.held:.1f} ± {100 * f.error:.1f} | {f.width:.1f} | {f.off:+.1f} |"
        for f in hard
    ]
    return "\n".join(lines) + "\n"


@one_in_algebra()
def main(words: list[str]) -> None:
    """Print, or write the page."""
    seeds = int(words[words.index("--seeds") + 1]) if "--seeds" in words else 400
    seeds = 8 if "--quick" in words else seeds
    start = time.process_time()
    found = []
    for k, w in enumerate(WORLDS):
        found.append(modulus(w, seeds, k))
        print(found[-1], f"{time.process_time() - start:.0f} s", file=sys.stderr, flush=True)
    hard = [plateau(x, seeds, k) for k, x in enumerate((0.0, 0.1, 0.3))]
    text = page(found, hard, seeds)
    if "--write" in words:
        Path(words[words.index("--write") + 1]).write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main(sys.argv[1:])
