"""What is given to a film analysis: the layers as the user knows them, and the tests."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.contact.layered import Layer, Medium, Stack
from drypoint.films.problems import FilmError
from drypoint.uncertainty.joint import Joint, join, single

Floats = NDArray[np.float64]

#: Relative standard uncertainty of the elastic model, our own choice: on 114 finite-element tests
#: of coated solids it is off by 3.2 % in the mean of squares (docs/explanation/films.md).
U_MODEL = 0.03
#: Beginning of the names of the shared inputs that stand for the elastic model's own error.
MODEL = "model.elastic"
#: That error, chosen after the same tests: a part that is the same for all tests of a specimen, and
#: one that changes along ln a, forgotten over this factor of e and growing with a/t; as shares of
#: ``U_MODEL``. Together 2.7 % at small a/t, 3.6 % at 1 and 4.7 % at 2.
LEVEL, COURSE, FORGOTTEN, STEP = 0.65, 0.85, 2.0, 0.1
#: Its rough part, different from test to test, so that no test however precise is believed more.
ROUGH = 0.1


def _growth(x: Floats) -> Floats:
    return np.asarray(0.7 + 0.5 * np.minimum(x, 2.0))


def model_columns(a_over_t: Floats) -> Floats:
    """Course of the elastic model's error at some a/t, as independent columns of ``U_MODEL`` = 1.

    The first is the level. The others are a Markov process along ln a (exponential correlation)
    at steps of 0.1, straight between them: innovation by innovation, so that they are
    independent.

    Parameters
    ----------
    a_over_t : array, shape (n,)

    Returns
    -------
    array, shape (n, 1 + steps)
    """
    x = np.log(a_over_t)
    nodes = np.linspace(x.min(), x.max(), max(2, int(np.ceil(np.ptp(x) / STEP)) + 1))
    apart = np.abs(nodes[:, None] - nodes[None, :])
    root = np.linalg.cholesky(np.exp(-apart / FORGOTTEN) + 1e-10 * np.eye(len(nodes)))
    hats = np.stack([np.interp(x, nodes, row) for row in np.eye(len(nodes))], axis=1)
    course = COURSE * _growth(a_over_t)[:, None] * (hats @ root)
    return np.column_stack([np.full(len(x), LEVEL), course])


@dataclass(frozen=True)
class Entry:
    """One number about a layer; build it with :func:`known` or :func:`sought`.

    Parameters
    ----------
    value : float
        Best value, or where the search starts; SI.
    u : float
        Standard uncertainty; for a sought number that of the prior, infinite without one.
    sought : bool
        Whether the tests shall tell it.
    shared : str
        Name of the input of the tests that is the same number, for example the Poisson's ratio
        that their reduction assumed; empty where it is a number of its own.
    """

    value: float
    u: float = 0.0
    sought: bool = False
    shared: str = ""

    def __post_init__(self) -> None:
        if not np.isfinite(self.value) or not self.u >= 0:
            raise FilmError(
                f"{self.value:.4g} with standard uncertainty {self.u:.4g} is no statement about a "
                "layer.",
                remedy="Give a finite value and an uncertainty from zero up.",
            )
        if self.sought and self.u == 0:
            raise FilmError(
                "A number that is sought is not known exactly.",
                remedy="Leave its uncertainty out if nothing is known before, or do not seek it.",
            )
        if not self.sought and not np.isfinite(self.u):
            raise FilmError(
                "A known number has a finite uncertainty.", remedy="Use sought for the unknown."
            )


def known(value: float, u: float = 0.0, shared: str = "") -> Entry:
    """A number that is given from outside; its uncertainty is carried into the result."""
    return Entry(float(value), float(u), shared=shared)


def sought(start: float, u: float = np.inf) -> Entry:
    """A number to be found; with ``u`` its start is also a prior (mean and standard uncertainty).

    Of moduli and thicknesses the prior is lognormal, with the relative uncertainty u/start.
    """
    return Entry(float(start), float(u), True)


@dataclass(frozen=True)
class FilmLayer:
    """A layer: Young's modulus (Pa), Poisson's ratio, thickness (m)."""

    name: str
    E: Entry
    nu: Entry
    t: Entry
    slips: bool = False


@dataclass(frozen=True)
class Substrate:
    """What carries the layers: Young's modulus (Pa) and Poisson's ratio."""

    E: Entry
    nu: Entry
    name: str = "substrate"


@dataclass(frozen=True)
class Structure:
    """Layers from the top down on a substrate.

    Raises
    ------
    FilmError
        When there is no layer, a name repeats, or nothing is sought.
    """

    layers: tuple[FilmLayer, ...]
    substrate: Substrate

    def __post_init__(self) -> None:
        names = [x.name for x in self.layers] + [self.substrate.name]
        if not self.layers:
            raise FilmError("There is no layer.", remedy="Describe the film.")
        if len(set(names)) != len(names):
            raise FilmError("Two layers share a name.", remedy="Name them apart.")
        if not any(e.sought for _, e in self.entries()):
            raise FilmError(
                "Nothing is sought.", remedy="Mark the film's modulus as sought, with a start."
            )
        self.stack(np.array([e.value for _, e in self.entries()]))

    def entries(self) -> Iterator[tuple[str, Entry]]:
        """Every number with its name, for example ("film.E", ...), in a fixed order."""
        for x in self.layers:
            yield from ((f"{x.name}.E", x.E), (f"{x.name}.nu", x.nu), (f"{x.name}.t", x.t))
        yield from (
            (f"{self.substrate.name}.E", self.substrate.E),
            (f"{self.substrate.name}.nu", self.substrate.nu),
        )

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all numbers."""
        return tuple(n for n, _ in self.entries())

    def stack(self, values: Floats) -> Stack:
        """The elastic stack for a vector of all numbers, in the order of :meth:`entries`."""
        layers = tuple(
            Layer(float(values[3 * i]), float(values[3 * i + 1]), float(values[3 * i + 2]), x.slips)
            for i, x in enumerate(self.layers)
        )
        return Stack(layers, Medium(float(values[-2]), float(values[-1])))

    def known_inputs(self, shared: tuple[str, ...] = ()) -> Joint:
        """Joint distribution of the known numbers that carry an uncertainty (independent).

        Those that are one of the ``shared`` inputs of the tests are left to these.
        """
        return join(
            single(n, e.value, e.u, "stated for the specimen")
            for n, e in self.entries()
            if not e.sought and e.u > 0 and e.shared not in shared
        )


def one_film(
    E_f: Entry, nu_f: Entry, t: Entry, E_s: Entry, nu_s: Entry, slips: bool = False
) -> Structure:
    """One film, named "film", on a substrate."""
    return Structure((FilmLayer("film", E_f, nu_f, t, slips),), Substrate(E_s, nu_s))


@dataclass(frozen=True)
class FilmTests:
    """Tests on a coated specimen; arrays of shape (n,), SI.

    Parameters
    ----------
    radius : array
        Contact radius a = sqrt(A_p/pi), m.
    E_star : array
        Plane-strain modulus of film and substrate together, 1/(1/E_r - (1 - nu_i^2)/E_i), Pa.
    u_random : array
        Standard uncertainty of E_star from the test alone, Pa.
    depth : array or None
        Contact depth h_c, m; for the models that ask for it and for the words in the report.
    inputs : Joint
        Systematic inputs shared by all tests.
    jac_E, jac_radius : array, shape (n, k)
        Derivatives of E_star and radius with respect to ``inputs``.
    group : array of int or None
        Which values come from one test (several unloadings of it share its zero point): their
        errors are then not taken as independent. ``None`` where every value is a test of its own.

    Raises
    ------
    FilmError
        When shapes differ or a value is not positive and finite.
    """

    radius: Floats
    E_star: Floats
    u_random: Floats
    depth: Floats | None = None
    inputs: Joint = field(default_factory=lambda: join([]))
    jac_E: Floats = field(default_factory=lambda: np.empty((0, 0)))
    jac_radius: Floats = field(default_factory=lambda: np.empty((0, 0)))
    group: NDArray[np.int64] | None = None

    def __post_init__(self) -> None:
        for name in ("radius", "E_star", "u_random", "depth", "group"):
            value = getattr(self, name)
            if value is not None and not isinstance(value, np.ndarray):
                kind = np.int64 if name == "group" else np.float64
                object.__setattr__(self, name, np.asarray(value, dtype=kind))
        n, k = len(self.radius), len(self.inputs.names)
        for name in ("jac_E", "jac_radius"):
            if getattr(self, name).size == 0:
                object.__setattr__(self, name, np.zeros((n, k)))
        arrays = [self.radius, self.E_star, self.u_random]
        arrays += [] if self.depth is None else [self.depth]
        shapes = [x.shape for x in arrays] + ([] if self.group is None else [self.group.shape])
        if any(shape != (n,) for shape in shapes) or n == 0:
            raise FilmError(
                "Radii, moduli and uncertainties of the tests differ in number, or there are none.",
                remedy="Give one of each a test.",
            )
        if self.jac_E.shape != (n, k) or self.jac_radius.shape != (n, k):
            raise FilmError("The sensitivities do not fit the tests and inputs.")
        if not all(np.all(np.isfinite(x) & (x > 0)) for x in arrays):
            raise FilmError(
                "A contact radius, modulus, uncertainty or depth is not a positive number.",
                remedy="Leave out tests whose modulus was withheld; state what one test scatters.",
            )

    def __len__(self) -> int:
        return len(self.radius)

    @property
    def shallow(self) -> float:
        """Median E_star of the shallowest fifth of the tests, Pa: most of it is the top layer."""
        return float(np.median(self.E_star[np.argsort(self.radius)[: max(1, len(self) // 5)]]))

    def some(self, keep: NDArray[np.bool_]) -> FilmTests:
        """Those of the tests that ``keep`` marks."""
        return replace(
            self,
            radius=self.radius[keep],
            E_star=self.E_star[keep],
            u_random=self.u_random[keep],
            depth=None if self.depth is None else self.depth[keep],
            jac_E=self.jac_E[keep],
            jac_radius=self.jac_radius[keep],
            group=None if self.group is None else self.group[keep],
        )

    def with_model_error(self, u: float, thickness: float) -> FilmTests:
        """The same tests with the shared inputs by which the elastic model may be off, and a tenth
        of its uncertainty for each test alone.

        Parameters
        ----------
        u : float
            Relative standard uncertainty of the elastic model, in the mean of squares over a/t from
            0.1 to 2; zero leaves the tests as they are.
        thickness : float
            Of the uppermost layer, m.
        """
        if not 0 <= u < 1:
            raise FilmError(
                f"{u:.4g} is no relative uncertainty of a model.", remedy="Give 0 to below 1."
            )
        if u == 0 or any(n.startswith(MODEL) for n in self.inputs.names):
            return self
        columns = model_columns(self.radius / thickness)
        origin = "elastic solution of a flat film, against finite elements of dents"
        names = [MODEL, *(f"{MODEL}.{k}" for k in range(1, columns.shape[1]))]
        return replace(
            self,
            u_random=np.hypot(self.u_random, ROUGH * u * self.E_star),
            inputs=join([self.inputs, *(single(n, 0.0, u, origin) for n in names)]),
            jac_E=np.column_stack([self.jac_E, self.E_star[:, None] * columns]),
            jac_radius=np.column_stack([self.jac_radius, np.zeros_like(columns)]),
        )


def tests_from_stiffness(
    S: ArrayLike,
    area: ArrayLike,
    u_S: ArrayLike,
    indenter: tuple[float, float],
    *,
    beta: float = 1.0,
    depth: ArrayLike | None = None,
) -> FilmTests:
    """Tests from contact stiffness (N/m) and area (m^2), with the indenter's (E_i, nu_i).

    E_r = sqrt(pi) S/(2 beta sqrt(A)) [oliver1992], 1/E* = 1/E_r - (1 - nu_i^2)/E_i, and
    u(E*)/E* = (E*/E_r) u(S)/S.
    """
    s, A, u = (np.atleast_1d(np.asarray(x, dtype=float)) for x in (S, area, u_S))
    if not (np.all(s > 0) and np.all(A > 0)):
        raise FilmError(
            "A stiffness or area is not positive.", remedy="Leave out tests without contact."
        )
    E_r = np.sqrt(np.pi) * s / (2 * beta * np.sqrt(A))
    E_i, nu_i = indenter
    rest = 1 / E_r - (1 - nu_i**2) / E_i
    if np.any(rest <= 0):
        raise FilmError(
            "A reduced modulus is above the indenter's own: no specimen could be that stiff.",
            remedy="Check area function, frame compliance and beta.",
        )
    E_star = 1 / rest
    h = None if depth is None else np.atleast_1d(np.asarray(depth, dtype=float))
    return FilmTests(np.sqrt(A / np.pi), E_star, E_star * (E_star / E_r) * u / s, h)
