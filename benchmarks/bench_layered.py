"""The exact layered contact against each approximation: how far off, where, and at what cost.

A 70.3 degree cone's contact depth h_c = a cot(psi) serves the models that ask for a depth. Grid:
E_f*/E_s* from 0.01 to 100, a/t from 0.03 to 30; Poisson's ratios 0.3 and 0.2. Prints a table;
``--write docs/reference/film-models.md`` writes the page, and its picture to docs/pictures;
``--quick`` prints a few of the numbers.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from drypoint.contact import layered as ly
from drypoint.contact.film_models import MODELS, Pair
from drypoint.contact.profiles import cone

ROOT = Path(__file__).resolve().parents[1]
PSI = np.radians(70.3)
RATIOS = (0.01, 0.1, 0.2, 0.5, 0.8, 1.25, 2.0, 5.0, 10.0, 100.0)
A_OVER_T = np.array([0.03, 0.1, 0.3, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0])
QUICK_RATIOS = (0.2, 5.0)
QUICK_RADII = np.array([0.1, 1.0, 10.0])
NU_F, NU_S = 0.3, 0.2


def pair_of(ratio: float) -> Pair:
    """A film of thickness 1 with the given ratio of plane-strain moduli."""
    return Pair(ratio * (1 - NU_F**2), NU_F, 1.0, 1 - NU_S**2, NU_S)


def deviations(ratios: tuple[float, ...], radii: np.ndarray) -> dict[str, np.ndarray]:
    """Model over exact less 1, shape (ratios, a/t), by model."""
    out = {}
    exact = np.array([MODELS["exact"].effective(pair_of(r), radii) for r in ratios])
    for key, model in MODELS.items():
        if key != "exact":
            found = [model.effective(pair_of(r), radii, radii / np.tan(PSI)) for r in ratios]
            out[key] = np.array(found) / exact - 1
    return out


def timings() -> list[tuple[str, float]]:
    """Milliseconds a load point, CPU time."""
    rows = []
    stack = ly.film(10.0, 0.3, 1.0, 1.0, 0.2)
    three = ly.Stack((ly.Layer(10.0, 0.3, 0.3),) * 3, ly.Medium(1.0, 0.2))
    for a in (0.1, 1.0, 10.0, 100.0):
        for name, s in (("one film", stack), ("three layers", three)):
            rows.append(
                (f"{name}, a/t = {a:g}", _time(lambda s=s, a=a: ly.contact(s, cone(PSI), [a])))
            )
    pair = pair_of(5.0)
    radii = np.full(1000, 0.5)
    for key, model in MODELS.items():
        if key != "exact":
            each = _time(lambda m=model: m.effective(pair, radii, radii / 3)) / 1000
            rows.append((model.title, each))
    table = _time(
        lambda: ly.effective_modulus(ly.film(10.0, 0.3, 1.0 + time.time() % 1, 1.0, 0.2), [1.0])
    )
    rows.append(("a new stack, first load point", table))
    return rows


def _time(run) -> float:  # type: ignore[no-untyped-def]
    run()
    start, n = time.process_time(), 0
    while time.process_time() - start < 0.2:
        run()
        n += 1
    return (time.process_time() - start) / n * 1e3


def percent(x: float) -> str:
    """A deviation as a signed percentage; through the film there is none."""
    return "–" if not np.isfinite(x) else f"{100 * x:+.1f}" if abs(x) < 0.1 else f"{100 * x:+.0f}"


def page(
    found: dict[str, np.ndarray],
    times: list[tuple[str, float]],
    ratios: tuple[float, ...],
    radii: np.ndarray,
) -> str:
    """The reference page."""
    lines = [
        "# Film models against the exact solution",
        "",
        "<!-- Made by benchmarks/bench_layered.py --write; change that, not this. -->",
        "",
        "Deviation in % of each model's effective modulus E_eff* = S/(2a) from the exact "
        "frictionless elastic",
        f"solution, Poisson's ratios {NU_F} (film) and {NU_S} (substrate), bonded. Down: "
        "E_f\\*/E_s\\*; across: a/t. The",
        "models that ask for a depth got the contact depth of a 70.3° cone; a dash means that the "
        "tip is through",
        "the film. What to use when is in [films](../explanation/films.md).",
        "",
        "![Deviation of the models by a/t](../pictures/film-models.png)",
        "",
    ]
    for key, table in found.items():
        model = MODELS[key]
        lines += [f"## {model.title}", ""]
        most = "any a/t" if np.isinf(model.a_over_t) else f"a/t up to {model.a_over_t:g}"
        lines += [
            f"Used without a warning for E_f\\*/E_s\\* from {model.ratio[0]:g} to "
            f"{model.ratio[1]:g}, {most}. Grounds: {model.grounds}.",
            "",
            "| E_f\\*/E_s\\* | " + " | ".join(f"{x:g}" for x in radii) + " |",
            "|---" * (len(radii) + 1) + "|",
        ]
        for ratio, row in zip(ratios, table, strict=True):
            lines.append(f"| {ratio:g} | " + " | ".join(percent(x) for x in row) + " |")
        lines.append("")
    lines += ["## Time", "", "CPU time a load point on one core, after the first call.", ""]
    lines += ["| what | ms |", "|---|---|"]
    lines += [f"| {name} | {ms:.3g} |" for name, ms in times]
    return "\n".join(lines) + "\n"


def picture(found: dict[str, np.ndarray], path: Path) -> None:
    """Deviation against a/t for four ratios, one panel a ratio."""
    import matplotlib.pyplot as plt

    fig, axes = plt.subplots(1, 4, figsize=(11, 3.2), sharey=True, layout="constrained")
    styles = ["-o", "-s", "-^", "--v", "--D"]
    for ax, ratio in zip(axes, (0.1, 0.5, 2.0, 10.0), strict=True):
        i = RATIOS.index(ratio)
        for (key, table), style in zip(found.items(), styles, strict=True):
            ax.plot(A_OVER_T, 100 * table[i], style, ms=3, lw=1, label=MODELS[key].title)
        ax.axhspan(-5, 5, color="0.9", zorder=0)
        ax.set(xscale="log", ylim=(-60, 60), xlabel="a/t", title=f"$E_f^*/E_s^*$ = {ratio:g}")
        ax.title.set_fontsize(10)
    axes[0].set_ylabel("model over exact, %")
    fig.legend(
        *axes[0].get_legend_handles_labels(), loc="outside lower center", ncols=5, fontsize=8
    )
    fig.savefig(path, dpi=130)
    plt.close(fig)


def main(words: list[str]) -> None:
    """Print, or write the page and its picture."""
    ratios, radii = (QUICK_RATIOS, QUICK_RADII) if "--quick" in words else (RATIOS, A_OVER_T)
    found, times = deviations(ratios, radii), timings()
    text = page(found, times, ratios, radii)
    if "--write" in words and "--quick" not in words:
        target = Path(words[words.index("--write") + 1])
        target.write_text(text, encoding="utf-8")
        picture(found, ROOT / "docs" / "pictures" / "film-models.png")
    else:
        print(text)


if __name__ == "__main__":
    main(sys.argv[1:])
