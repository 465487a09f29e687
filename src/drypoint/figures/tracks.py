"""Scratch tracks: aligned on load, one by one, and their critical loads over replicates."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from drypoint.figures.labels import number, plural
from drypoint.figures.picture import Picture, nothing_to_show
from drypoint.figures.style import colour, drawing, series_colour
from drypoint.run.critical_loads import ScratchResult, Verdict
from drypoint.run.scratching import TrackResult
from drypoint.run.track_pictures import TrackPicture
from drypoint.scratch import Replicates

Floats = NDArray[np.float64]

#: Marks of what was decided.
MARKS = {"confirmed": "o", "moved": "D", "set by hand": "D", "absent": ">", "rejected": "x",
         "open": "|"}  # fmt: skip
_ALL = np.linspace(0.0, 1.0, 101)[1:]


def _events(result: ScratchResult) -> list[str]:
    names = list(result.events)
    for d in result.decided.values():
        names += [e for e in d.events if e not in names]
    return names


def event_colour(result: ScratchResult, event: str) -> str:
    """Colour of a critical load, the same in all figures."""
    return series_colour(1 + _events(result).index(event))


def _on_loads(tracks: tuple[TrackResult, ...], values: list[Floats]) -> tuple[Floats, Floats]:
    """Values of each track at common loads (mN), (tracks, loads)."""
    top = max(t.last_load for t in tracks)
    at = _ALL * top
    rows = []
    for t, v in zip(tracks, values, strict=True):
        good = np.isfinite(t.profile.load) & np.isfinite(v)
        order = np.argsort(t.profile.load[good])
        x, y = t.profile.load[good][order], v[good][order]
        rows.append(
            np.interp(at, x, y, left=np.nan, right=np.nan) if len(x) else np.full(len(at), np.nan)
        )
    return np.asarray(at * 1e3), np.array(rows)


def tracks_on_load(result: ScratchResult, specimen: str) -> Picture:
    """Friction with the band over tracks, depths, and candidates with decisions, against load."""
    picture = Picture(f"tracks-{specimen}", 6.4, invented=result.invented)
    tracks = tuple(t for t in result.of(specimen) if not t.constant)
    if not tracks:
        return nothing_to_show(picture, f"No track of {specimen} has a rising load.")
    heard = any(t.profile.peak for t in tracks)
    with drawing():
        heights = [1.5, 1.5, 0.8, 1.3] if heard else [1.5, 1.5, 1.3]
        panels = picture.subplots(len(heights), 1, sharex=True,
                                  gridspec_kw={"height_ratios": heights})  # fmt: skip
        spread = _friction(panels[0], tracks)
        _depths(panels[1], tracks)
        if heard:
            _heard(panels[2], tracks)
        _decided(panels[-1], result, tracks)
        panels[-1].set_xlim(0, 1.02e3 * max(t.last_load for t in tracks))
        panels[-1].set_xlabel("Normal force $F_n$ / mN")
        picture.align_ylabels(list(panels))
    picture.caption = (
        f"{specimen}: {plural(len(tracks), 'track')} aligned on load. Thin lines: single tracks; "
        "thick line and band: their mean, and one standard deviation from track to track. Below, "
        "every track has a row: bars are the intervals of candidates, marks what was decided."
    )
    picture.alt = f"{specimen}. {spread} " + " ".join(
        f"{t.name}: {_said(result, t)}." for t in tracks
    )
    return picture


def _said(result: ScratchResult, t: TrackResult) -> str:
    known = result.decided[t.name].events
    words = [
        f"{e} {'absent' if v.how == 'absent' else number(v.load * 1e3) + ' mN'}"
        for e, v in known.items()
    ]
    return ", ".join(words) or f"{plural(len(t.candidates), 'candidate')}, nothing decided"


def _band(axes: Axes, x: Floats, rows: Floats, role: str, name: str) -> Floats:
    import warnings

    for row in rows:
        axes.plot(x, row, color=colour(role), linewidth=0.4, alpha=0.45)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        mean = np.nanmean(rows, axis=0)
        s = np.nanstd(rows, axis=0, ddof=1) if len(rows) > 1 else np.zeros_like(mean)
    axes.fill_between(x, mean - s, mean + s, color=colour(role), alpha=0.2, linewidth=0)
    axes.plot(x, mean, color=colour(role), linewidth=1.5, label=name)
    return np.asarray(mean)


def _friction(axes: Axes, tracks: tuple[TrackResult, ...]) -> str:
    x, mu = _on_loads(tracks, [t.friction.mu for t in tracks])
    steady = x > 0.04 * x[-1]
    mean = _band(axes, x[steady], mu[:, steady], "blue", "apparent")
    _, plough = _on_loads(tracks, [t.friction.plough for t in tracks])
    if np.isfinite(plough).any():
        _band(axes, x[steady], plough[:, steady], "olive", "of this, ploughing")
    axes.set_ylabel("Friction coefficient µ")
    axes.set_ylim(bottom=0)
    axes.legend(loc="upper left", ncols=2)
    good = mean[np.isfinite(mean)]
    if not len(good):
        return "No friction is known."
    low, high = (number(float(v)) for v in (good[0], good[-1]))
    return f"Apparent friction {low} at low load, {high} at the largest."


def _depths(axes: Axes, tracks: tuple[TrackResult, ...]) -> None:
    for values, role, name in (
        ([t.profile.h_load * 1e9 for t in tracks], "teal", "under load"),
        ([t.profile.h_residual * 1e9 for t in tracks], "plum", "residual"),
    ):
        x, rows = _on_loads(tracks, values)
        if np.isfinite(rows).any():
            _band(axes, x, rows, role, name)
    axes.set_ylabel("Depth $h$ / nm")
    axes.invert_yaxis()
    axes.legend(loc="lower left", ncols=2)


def _heard(axes: Axes, tracks: tuple[TrackResult, ...]) -> None:
    name = next(n for t in tracks for n in t.profile.peak)
    some = tuple(t for t in tracks if name in t.profile.peak)
    x, rows = _on_loads(some, [t.profile.peak[name] for t in some])
    for row in rows:
        axes.plot(x, row, color=colour("soft"), linewidth=0.5, alpha=0.6)
    axes.set_ylabel("\n".join(name.capitalize().split(" ", 1)))


def _decided(axes: Axes, result: ScratchResult, tracks: tuple[TrackResult, ...]) -> None:
    for row, t in enumerate(tracks):
        known = result.decided[t.name]
        by_number = {v.number: e for e, v in known.events.items() if v.number}
        gone = t.name in result.excluded
        for n, c in enumerate(t.candidates, start=1):
            tint = event_colour(result, by_number[n]) if n in by_number else colour("ghost")
            axes.plot([c.low * 1e3, c.high * 1e3], [row, row], color=tint, linewidth=3.5,
                      alpha=0.35, solid_capstyle="butt")  # fmt: skip
            if n not in by_number:
                mark = MARKS["rejected" if n in known.rejected else "open"]
                axes.plot(c.load * 1e3, row, mark, color=colour("ghost"), markersize=5)
        for e, v in known.events.items():
            tint = colour("ghost") if gone else event_colour(result, e)
            axes.plot(v.load * 1e3, row, MARKS[v.how], color=tint, markersize=4)
    axes.set_yticks(range(len(tracks)), [t.name for t in tracks], fontsize=6.5)
    axes.set_ylim(len(tracks) - 0.4, -0.6)
    used = {v.how for t in tracks for v in result.decided[t.name].events.values()}
    used |= {result.verdict(t.name, n).split()[0] for t in tracks
             for n in range(1, len(t.candidates) + 1)}  # fmt: skip
    handles: list[Line2D | Patch] = [
        Line2D([], [], linestyle="", marker="s", color=event_colour(result, e), label=e)
        for e in _events(result)
    ]
    handles += [
        Line2D([], [], linestyle="", marker=m, color=colour("ink"), markersize=4, label=k)
        for k, m in MARKS.items()
        if k in used
    ]
    axes.legend(handles=handles, loc="upper center", bbox_to_anchor=(0.5, -0.38), ncols=8,
                fontsize=6.8, handletextpad=0.2)  # fmt: skip


def one_track(result: ScratchResult, track: str) -> Picture:
    """One track: friction with its uncertainty, depths, further channels, candidates."""
    t = next(t for t in result.tracks if t.name == track)
    p, f = t.profile, t.friction
    laid = [i for i in result.pictures if i.track == track and i.span is not None]
    names = list(p.extra)
    picture = Picture(f"track-{track}", 5.0 + 1.2 * len(laid), invented=result.invented)
    x = p.x * 1e6
    with drawing():
        heights = [1.0, 1.0] + [0.8] * len(names) + [0.7] * len(laid)
        every = picture.subplots(len(heights), 1, sharex=True,
                                 gridspec_kw={"height_ratios": heights})  # fmt: skip
        panels = every[: 2 + len(names)]
        for axes, image in zip(every[2 + len(names) :], laid, strict=True):
            assert image.span is not None
            axes.imshow(image.pixels, aspect="auto", interpolation="bilinear",
                        extent=(image.span[0] * 1e6, image.span[1] * 1e6, 0, 1))  # fmt: skip
            axes.set_yticks([])
            axes.set_ylabel("Picture")
            axes.grid(False)
            _spans(axes, result, t, shade=False)
        shown = f.load > 0.03 * t.last_load
        for values, u, tint, label in (
            (f.mu, f.u_mu, series_colour(0), "apparent"),
            (f.plough, f.u_plough, colour("olive"), "ploughing"),
        ):
            _with_u(panels[0], x[shown], values[shown], u[shown], tint, label)
        panels[0].set_ylabel("Friction\ncoefficient µ")
        top = f.mu[shown & np.isfinite(f.mu)]
        if len(top):
            panels[0].set_ylim(min(0.0, float(top.min())), 1.5 * float(top.max()))
        for values, u, tint, label in (
            (p.h_load, p.u_h_load, colour("teal"), "under load"),
            (p.h_residual, p.u_h_residual, colour("plum"), "residual"),
        ):
            _with_u(panels[1], x, values * 1e9, u * 1e9, tint, label)
        panels[1].plot(x, p.topography * 1e9, color=colour("ghost"), linewidth=0.8,
                       label="topography")  # fmt: skip
        panels[1].invert_yaxis()
        panels[1].set_ylabel("Depth $h$ / nm")
        for axes, name in zip(panels[2:], names, strict=True):
            axes.plot(x, p.peak[name], color=colour("soft"), linewidth=0.8, label="largest value")
            axes.plot(x, p.extra[name], color=colour("ink"), linewidth=0.8, label="mean")
            axes.set_ylabel("\n".join(name.capitalize().split(" ", 1)))
        for axes in panels:
            _spans(axes, result, t)
            axes.legend(loc="lower left" if axes is panels[1] else "upper left", ncols=3)
        every[-1].set_xlabel("Distance along the scratch $x$ / µm")
        _loads_above(panels[0], t)
        picture.align_ylabels(list(every))
    picture.caption = (
        f"{track} ({t.specimen}) along its way. Bands: two standard uncertainties. Shaded: "
        "intervals of the candidates, coloured where they were confirmed; dashed: critical loads."
    )
    picture.alt = f"{track}: {_said(result, t)}. " + " ".join(
        f"Candidate {n} at {number(c.load * 1e3)} mN ({result.verdict(t.name, n)})."
        for n, c in enumerate(t.candidates, start=1)
    )
    return picture


def _with_u(axes: Axes, x: Floats, y: Floats, u: Floats, tint: str, label: str) -> None:
    if not np.isfinite(y).any():
        return
    axes.fill_between(x, y - 2 * u, y + 2 * u, color=tint, alpha=0.22, linewidth=0)
    axes.plot(x, y, color=tint, linewidth=1.1, label=label)


def _spans(axes: Axes, result: ScratchResult, t: TrackResult, *, shade: bool = True) -> None:
    known = result.decided[t.name]
    by_number = {v.number: e for e, v in known.events.items() if v.number}
    for n, c in enumerate(t.candidates if shade else (), start=1):
        tint = event_colour(result, by_number[n]) if n in by_number else colour("ghost")
        axes.axvspan(c.x_low * 1e6, c.x_high * 1e6, color=tint, alpha=0.3, linewidth=0)
    for e, v in known.events.items():
        if v.how != "absent":
            at = _place(t, v)
            axes.axvline(at, color=event_colour(result, e), linewidth=1.0, linestyle=(0, (4, 2)))


def _place(t: TrackResult, v: Verdict) -> float:
    """Distance (µm) at which a load was reached."""
    if v.how == "confirmed" and v.number:
        return t.candidates[v.number - 1].x * 1e6
    good = np.isfinite(t.profile.load)
    order = np.argsort(t.profile.load[good])
    return float(np.interp(v.load, t.profile.load[good][order], t.profile.x[good][order]) * 1e6)


def _loads_above(axes: Axes, t: TrackResult) -> None:
    """A second axis with the load, which rises along the way."""
    good = np.isfinite(t.profile.load)
    x, load = t.profile.x[good] * 1e6, np.maximum.accumulate(t.profile.load[good] * 1e3)
    top = axes.twiny()
    top.grid(False)
    top.spines["top"].set_visible(True)
    axes.set_xlim(0, t.length * 1e6)
    top.set_xlim(axes.get_xlim())
    marks = np.linspace(load[0], load[-1], 6)[1:]
    marks = np.unique([float(f"{m:.1g}") if m < 100 else round(m, -1) for m in marks])
    marks = marks[(marks > load[0]) & (marks <= load[-1])]
    top.set_xticks(np.interp(marks, load, x), [number(float(m)) for m in marks])
    top.set_xlabel("Normal force $F_n$ / mN")


def loose_picture(image: TrackPicture) -> Picture:
    """A picture without scale, beside the track and not along it."""
    rows, columns = image.pixels.shape[:2]
    height = min(0.3 + 6.5 * rows / columns, 6.0)
    picture = Picture(f"picture-{image.track}", height, invented=image.invented)
    with drawing():
        axes = picture.subplots()
        axes.imshow(image.pixels, interpolation="bilinear")
        axes.set_axis_off()
    picture.caption = f"{image.track}: {image.about or 'picture of the track'}. No scale is known."
    picture.alt = picture.caption
    return picture


def replicate_loads(result: ScratchResult) -> Picture:
    """Critical loads of all specimens by event, with the medians and their intervals."""
    events = [e for e in _events(result) if any(k[1] == e for k in result.replicates)]
    specimens = list(dict.fromkeys(s for s, _ in result.replicates))
    height = 1.0 + 0.75 * len(events) * max(len(specimens), 1) * 0.75
    picture = Picture("critical-loads", height, invented=result.invented)
    if not events:
        return nothing_to_show(picture, "Nothing was decided on critical loads.")
    words = []
    with drawing():
        axes = picture.subplots()
        rows, names = 0, []
        for event in events:
            for specimen in specimens:
                r = result.replicates.get((specimen, event))
                if r is None:
                    continue
                words.append(_row(axes, rows, r, event_colour(result, event), event))
                names.append(f"{event}  {specimen}")
                rows += 1
        axes.set_yticks(range(len(names)), names)
        axes.set_ylim(len(names) - 0.4, -0.6)
        axes.set_xlim(left=0)
        axes.set_xlabel("Critical load / mN")
        handles = [
            Line2D([], [], linestyle="", marker="o", color=colour("soft"), label="a track"),
            Line2D([], [], linestyle="", marker=">", fillstyle="none", color=colour("soft"),
                   label="absent up to there"),
            Line2D([], [], marker="d", color=colour("ink"), label="median with interval"),
        ]  # fmt: skip
        picture.legend(handles=handles, loc="outside upper center", ncols=3)
    picture.caption = (
        "Critical loads of the tracks, and the median of the better distribution with its interval "
        f"({100 * next(iter(result.replicates.values())).level:g} %)."
    )
    picture.alt = " ".join(words)
    return picture


def _row(axes: Axes, row: int, r: Replicates, tint: str, event: str) -> str:
    failed = ~r.loads.censored
    spread = row + 0.16 * np.linspace(-1, 1, len(r.loads.load))
    load = r.loads.load * 1e3
    axes.plot(load[failed], spread[failed], "o", color=tint, markersize=3.5, alpha=0.75)
    axes.plot(load[~failed], spread[~failed], ">", color=tint, markersize=5, fillstyle="none")
    fit = r.fit(r.better) if r.better is not None else None
    said = f"{r.loads.name}, {event}: {plural(len(load), 'track')}"
    if fit is None:
        return f"{said}, too few for a distribution."
    m = fit.median
    low, high = (v if np.isfinite(v) else float("nan") for v in (m.low, m.high))
    axes.plot([low * 1e3, high * 1e3], [row + 0.3] * 2, color=colour("ink"), linewidth=1.6)
    axes.plot(m.value * 1e3, row + 0.3, "d", color=colour("ink"), markersize=5)
    return (
        f"{said}, median {number(m.value * 1e3)} mN ({number(m.low * 1e3)} to "
        f"{number(m.high * 1e3)} mN)."
    )
