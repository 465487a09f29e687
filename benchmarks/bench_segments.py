"""How often noise cuts a hold into false unloadings, and how many small real unloadings are found.

    python benchmarks/bench_segments.py [--quick] [--records N]

Records of 0.1 mN with a force noise of 0.3 µN, computed, not measured. The noise is white, of
Student's t with 3 degrees of freedom, first-order autoregressive (0.5, 0.9, 0.99), 1/f, or a
mixture of white and 1/f, all with the same standard deviation; sampling rates and holds differ. The
segmentation assumes none of them. A real partial unloading has five times the standard deviation
of the noise and lies in the hold; the depth recovers either clearly or by 0.9 of its own noise. The
worst case is named. Then the same in the other world of ``segments_world.py``, written without
sight of the method: noise in force and depth of other kinds, partial unloadings of 3 to 20 s in
holds and in loadings.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np
import segments_world as other
from numpy.typing import NDArray
from scipy.linalg import solve_toeplitz
from scipy.signal import lfilter
from scipy.stats import norm

from drypoint.records.polygon import LOADING, UNLOADING, find

Floats = NDArray[np.float64]
FORCE, NOISE, DEPTH, DEPTH_NOISE = 0.1e-3, 0.3e-6, 80e-9, 0.2e-9
#: Sampling rate (Hz) and hold (s).
SETTINGS = ((50.0, 10.0), (20.0, 30.0), (200.0, 20.0))
SAMPLES = (12, 20, 60)
#: Ramps and stays of the partial unloadings of the other world, s.
RAMPS, STAYS = (0.5, 2.0, 5.0), (3.0, 10.0)


def white(rng: np.random.Generator, n: int) -> Floats:
    """White noise."""
    return rng.standard_normal(n)


def tailed(rng: np.random.Generator, n: int) -> Floats:
    """Student's t with 3 degrees of freedom, standard deviation 1."""
    return rng.standard_t(3, n) / np.sqrt(3.0)


def autoregressive(phi: float) -> Callable[[np.random.Generator, int], Floats]:
    """First-order autoregressive noise, standard deviation 1."""

    def noise(rng: np.random.Generator, n: int) -> Floats:
        steps = rng.standard_normal(n + 500) * np.sqrt(1.0 - phi**2)
        return np.asarray(lfilter([1.0], [1.0, -phi], steps))[500:]

    return noise


def pink(rng: np.random.Generator, n: int) -> Floats:
    """1/f noise, standard deviation 1 over twice the record."""
    f = np.fft.rfftfreq(2 * n)
    spectrum = rng.standard_normal(len(f)) + 1j * rng.standard_normal(len(f))
    spectrum[0] = 0.0
    spectrum[1:] /= np.sqrt(f[1:])
    y = np.fft.irfft(spectrum, 2 * n)
    return y[:n] / np.std(y)


def mixed(rng: np.random.Generator, n: int) -> Floats:
    """White and 1/f, 64 and 36 % of the variance."""
    return 0.8 * white(rng, n) + 0.6 * pink(rng, n)


NOISES: dict[str, Callable[[np.random.Generator, int], Floats]] = {
    "white": white,
    "Student t, 3": tailed,
    "1/f": pink,
    "white and 1/f": mixed,
    "autoregressive 0.5": autoregressive(0.5),
    "autoregressive 0.9": autoregressive(0.9),
    "autoregressive 0.99": autoregressive(0.99),
}


def record(
    rng: np.random.Generator,
    noise: Callable[[np.random.Generator, int], Floats],
    rate: float,
    hold: float,
    *,
    square: bool,
    partial: int = 0,
    elastic: bool = False,
) -> tuple[Floats, Floats]:
    """Force (N) and depth (m) of a test; ``partial`` samples of fall in a partial unloading of five
    times the noise, and as many of rise, inside the hold."""
    t = np.arange(0.0, 20.0 + hold, 1.0 / rate)
    a, b = int(10.0 * rate), int((10.0 + hold) * rate)
    f = np.full(len(t), FORCE)
    f[:a] = FORCE * (t[:a] / 10.0) ** (2 if square else 1)
    f[b:] = FORCE * np.clip(1.0 - (t[b:] - t[b]) / 10.0, 0.0, 1.0)
    if partial:
        at = int(rng.integers(a + 5 * partial // 2, b - 5 * partial // 2))
        fall = np.linspace(0.0, 5.0 * NOISE, partial)
        f[at : at + 2 * partial] -= np.concatenate([fall, fall[::-1]])
    before = int(3.0 * rate)
    h = DEPTH * np.sqrt(np.maximum(f, 0.0) / FORCE)
    # What is unloaded: a slope without bound at the top, or the power law of an elastic recovery.
    share = np.maximum(f, 0.0) / FORCE
    back = 1.0 - share ** (2.0 / 3.0) if elastic else (1.0 - share) ** 0.7
    held = slice(b, None) if not partial else slice(a, None)
    h[held] = DEPTH - 18e-9 * back[held]
    f = np.concatenate([np.zeros(before), f])
    h = np.concatenate([np.linspace(-60e-9, 0.0, before), h])
    return f + NOISE * noise(rng, len(f)), h + DEPTH_NOISE * rng.standard_normal(len(h))


def unloadings(force: Floats, depth: Floats) -> int:
    """Number of unloadings found in one record."""
    ends = np.array([0, len(force)])
    kind = find(force, depth, ends, np.array([-1]), 0.004)[1]
    return int(np.sum(kind == UNLOADING))


def false_share(name: str, rate: float, hold: float, records: int, seed: int) -> int:
    """Records with other than one unloading."""
    rng = np.random.default_rng(seed)
    wrong = 0
    for i in range(records):
        f, h = record(rng, NOISES[name], rate, hold, square=i % 2 == 0, elastic=i % 4 > 1)
        wrong += unloadings(f, h) != 1
    return wrong


def kept_share(
    name: str, rate: float, hold: float, partial: int, records: int, seed: int, elastic: bool
) -> float:
    """Share of records whose partial unloading is found."""
    rng = np.random.default_rng(seed)
    found = 0
    for i in range(records):
        f, h = record(
            rng, NOISES[name], rate, hold, square=i % 2 == 0, partial=partial, elastic=elastic
        )
        found += unloadings(f, h) == 2
    return found / records


def most(name: str, rate: float, hold: float, partial: int) -> float | None:
    """Share that the most powerful test finds (Neyman and Pearson 1933), one false cut in 10,000
    holds: it knows the law of the noise, the shape of the dip and the compliance, and looks in as
    many places as there are dips side by side in the hold."""
    n = min(int(hold * rate), 1200)
    lag = np.arange(n)
    f = np.fft.rfftfreq(2 * max(n, 4000))[1:]
    slow = np.cos(2.0 * np.pi * lag[:, None] * f[None, :]) @ (1.0 / f) / np.sum(1.0 / f)
    laws = {
        "white": (lag == 0) * 1.0,
        "1/f": slow,
        "white and 1/f": 0.64 * (lag == 0) + 0.36 * slow,
    }
    laws |= {f"autoregressive {p:g}": p**lag for p in (0.5, 0.9, 0.99)}
    if name not in laws:
        return None
    dip = np.zeros(n)
    at = (n - 2 * partial) // 2
    fall = np.linspace(0.0, 5.0, partial)
    dip[at : at + 2 * partial] = np.concatenate([fall, fall[::-1]])
    bend = 18e-9 * (1.0 - (1.0 - dip * NOISE / FORCE) ** (2.0 / 3.0)) / DEPTH_NOISE
    away = np.column_stack([np.ones(n)])  # the level of the hold is not known
    gain = 0.0
    for signal, law in ((dip, laws[name]), (bend, laws["white"])):
        weighed = solve_toeplitz(law + 1e-9 * (lag == 0), np.column_stack([signal, away]))
        known = signal @ weighed[:, 0] - (signal @ weighed[:, 1]) ** 2 / (
            away[:, 0] @ weighed[:, 1]
        )
        gain += float(known)
    places = hold * rate / (2.0 * partial)
    return float(norm.cdf(np.sqrt(gain) - norm.isf(1e-4 / places)))


def other_false(noise: str, records: int, seed: int) -> int:
    """Records of the other world with more than one loading, or an unloading before the end of
    the hold (the one at its end, or that to the drift hold, may come a little early)."""
    rng, wrong = np.random.default_rng(seed), 0
    for _ in range(records):
        f, h, hold, _ = other.record(other.plan(rng), noise, rng)
        _, kind, _, stop, _ = find(f, h, np.array([0, len(f)]), np.array([0]), 0.004)
        late = hold[1] - (hold[1] - hold[0]) / 4
        early = np.any((kind == UNLOADING) & (stop < late))
        wrong += bool(early) or int(np.sum(kind == LOADING)) != 1
    return wrong


def other_kept(noise: str, where: str, records: int, seed: int) -> float:
    """Share of the partial unloadings of the other world that are found in their place."""
    rng, found = np.random.default_rng(seed), 0
    for _ in range(records):
        p = other.plan(rng)
        while 5.0 * p.share < 0.0045 or p.hold < 10.0:
            p = other.plan(rng)
        dip = other.Dip(where, 5.0, float(rng.choice(RAMPS)), float(rng.choice(STAYS)))
        f, h, _, span = other.record(p, noise, rng, dip)
        _, kind, start, stop, _ = find(f, h, np.array([0, len(f)]), np.array([0]), 0.004)
        here = (kind == UNLOADING) & (start < span[1]) & (stop > span[0]) & (stop <= span[1])
        found += bool(np.any(here))
    return found / records


def other_table(count: int, seed: int) -> None:
    """Print the table of the other world."""
    print("The other world\nnoise                   cut falsely   found in holds, in loadings")
    worst = (-1.0, "")
    for noise in other.NOISES:
        wrong = other_false(noise, count, seed)
        kept = [other_kept(noise, w, max(100, count // 5), seed + 1) for w in ("hold", "loading")]
        shares = ", ".join(f"{100 * k:.0f} %" for k in kept)
        print(f"{noise:<22}{wrong:>9} of {count:<6}   {shares}", flush=True)
        worst = max(worst, (wrong / count, noise))
    print(f"Worst: {worst[1]}, {100 * worst[0]:.2g} % of holds cut falsely.")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--records", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    count = 200 if given.quick else given.records
    worst = (-1.0, "")
    print(
        f"{'noise':<22}{'rate / Hz':>10}{'hold / s':>10}{'cut falsely':>18}   found of 12, 20, 60"
        "; where the depth recovers by 0.9 of its noise; the most that any test finds there"
    )
    for name in NOISES:
        for rate, hold in SETTINGS:
            wrong = false_share(name, rate, hold, count, given.seed)
            room = [p for p in SAMPLES if 6 * p < hold * rate]
            few, seed = max(100, count // 20), given.seed + 1
            kept = []
            for elastic in (False, True):
                shares = [kept_share(name, rate, hold, p, few, seed, elastic) for p in room]
                kept.append(", ".join(f"{100 * s:.0f} %" for s in shares))
            bound = [most(name, rate, hold, p) for p in room]
            if bound[0] is not None:
                kept.append(", ".join(f"{100 * b:.0f} %" for b in bound if b is not None))
            print(
                f"{name:<22}{rate:>10g}{hold:>10g}{wrong:>9} of {count:<6}   {'; '.join(kept)}",
                flush=True,
            )
            worst = max(worst, (wrong / count, f"{name}, {rate:g} Hz, {hold:g} s"))
    print(f"Worst: {worst[1]}, {100 * worst[0]:.2g} % of holds cut falsely.")
    other_table(max(count // 10, 100), given.seed)


if __name__ == "__main__":
    main()
