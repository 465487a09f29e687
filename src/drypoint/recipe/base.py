"""What the sections of a study file have in common: kinds of number, keys with unit and source."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import MISSING, dataclass, fields
from decimal import Decimal
from typing import Annotated, Any, ClassVar, Literal, get_args, get_origin

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, PlainValidator
from pydantic.config import JsonDict
from pydantic.fields import FieldInfo

from drypoint.reduction.options import SOURCES

#: Unit of a key -> (ending of the key's name, power of ten to SI; ``None`` where it is kept or no
#: power of ten). A test holds these against :mod:`drypoint.units`.
UNITS: dict[str, tuple[str, int | None]] = {
    "nm": ("_nm", -9),
    "µm": ("_um", -6),
    "µm²": ("_um2", -12),
    "nm²": ("_nm2", -18),
    "nm/s": ("_nm_per_s", -9),
    "nm/mN": ("_nm_per_mN", -6),
    "mN": ("_mN", -3),
    "GPa": ("_GPa", 9),
    "deg": ("_deg", None),
    "°C": ("_C", None),
    "%": ("_percent", None),
    "Hz": ("_Hz", None),
    "N/m": ("_N_per_m", None),
    "g": ("_g", -3),
    "N s/m": ("_N_s_per_m", None),
}


class Section(BaseModel):
    """A table of the study file. Unknown keys are refused, values are never bent into a type."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)

    #: Which keys are needed, allowed or exclusive (:mod:`drypoint.recipe.rules`).
    key_rules: ClassVar[tuple[Any, ...]] = ()
    #: Keys that came later: at their default they are left out of the hash of a study file, so that
    #: hashes of earlier files stay as they were.
    younger: ClassVar[tuple[str, ...]] = ()
    #: True where the rules are applied only after a specimen's values have been filled in.
    late: ClassVar[bool] = False


@dataclass(frozen=True)
class Allowed:
    """What a validator accepts, in the words of its message and of the reference page.

    ``whole`` where the words say all; else they add to the kind and bounds of the value.
    """

    words: str
    whole: bool = True


_ORDER = Allowed("the lower end first, then the higher end", whole=False)
_EPSILON = Allowed(
    "“exponent” (epsilon from the unloading exponent), or a number above 0 and up to 1"
)
_OTHER = Allowed("a number other than 0")
_TEXT = Allowed("not empty", whole=False)


def _in_order(window: tuple[float, float]) -> tuple[float, float]:
    if not window[0] < window[1]:
        raise ValueError(f"{list(window)} is given; allowed: {_ORDER.words}")
    return window


def _epsilon(value: Any) -> float | str:
    if value == "exponent" and isinstance(value, str):
        return "exponent"
    if isinstance(value, (int, float)) and not isinstance(value, bool) and 0 < value <= 1:
        return float(value)
    shown = f"“{value}”" if isinstance(value, str) else value
    raise ValueError(f"{shown} is given; allowed: {_EPSILON.words}")


def _not_zero(value: float) -> float:
    if value == 0:
        raise ValueError(f"0 is given; allowed: {_OTHER.words}")
    return value


def _words(text: str) -> str:
    if not text.strip():
        raise ValueError(f"it is empty; allowed: text that is {_TEXT.words}")
    return text


Positive = Annotated[float, Field(gt=0)]
NonNegative = Annotated[float, Field(ge=0)]
NonZero = Annotated[float, AfterValidator(_not_zero), _OTHER]
Share = Annotated[float, Field(ge=0, le=1)]
Angle = Annotated[float, Field(gt=0, lt=90)]
Poisson = Annotated[float, Field(gt=-1, lt=0.5)]
#: A place in a file or record: a line, a column, a sample, a cycle, an entry.
Count = Annotated[int, Field(ge=1, le=1_000_000_000)]
#: Numbers that decide how much is computed; the bounds are our own choice, far above any use.
Terms = Annotated[int, Field(ge=1, le=50)]
Cycles = Annotated[int, Field(ge=1, le=200)]
Few = Annotated[int, Field(ge=1, le=1000)]
Steps = Annotated[int, Field(ge=1, le=100_000)]
Trials = Annotated[int, Field(ge=0, le=1_000_000)]
Seed = Annotated[int, Field(ge=0, le=10**18)]
Words = Annotated[str, AfterValidator(_words), _TEXT]
Window = Annotated[tuple[Share, Share], AfterValidator(_in_order), _ORDER]
Range = Annotated[tuple[Positive, Positive], AfterValidator(_in_order), _ORDER]
Epsilon = Annotated[
    float | Literal["exponent"],
    PlainValidator(
        _epsilon,
        json_schema_input_type=Literal["exponent"] | Annotated[float, Field(gt=0, le=1)],
    ),
    _EPSILON,
]


def key(meaning: str, default: Any = ..., *, unit: str = "", source: str = "") -> Any:
    """A key of a section: its meaning, default, unit and where the default comes from."""
    extra: JsonDict = {k: v for k, v in (("unit", unit), ("source", source)) if v}
    if default is not ... and callable(default):
        return Field(default_factory=default, description=meaning, json_schema_extra=extra)
    return Field(default, description=meaning, json_schema_extra=extra)


def knob(
    options: type,
    option: str,
    meaning: str,
    *,
    unit: str = "",
    room: str = "",
    source: str = "",
    shown: Callable[[Any], Any] = lambda value: value,
) -> Any:
    """A key that sets one field of an options dataclass, and takes its default from there.

    Parameters
    ----------
    options : type
        The dataclass of :mod:`drypoint.reduction.options` (or of :mod:`drypoint.tips.tip`).
    option : str
        Its field.
    meaning : str
        One sentence for the reference page.
    unit : str
        Unit of the key, one of :data:`UNITS`; empty for a plain number or a word.
    room : str
        Name under which the option stands in ``SOURCES``, for example ``"zero"``.
    source : str
        Where the default comes from, where ``SOURCES`` does not say.
    shown : callable
        How the dataclass's default is written in a study file.
    """
    field = next(f for f in fields(options) if f.name == option)
    default: Any = field.default
    if field.default_factory is not MISSING:
        default = field.default_factory()
    return key(
        meaning,
        from_si(shown(default), unit),
        unit=unit,
        source=source or SOURCES.get(f"{room}.{option}", ""),
    )


def unit_of(info: FieldInfo) -> str:
    """Unit of a key, empty where it has none."""
    extra = info.json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


def source_of(info: FieldInfo) -> str:
    """Where a key's default comes from."""
    extra = info.json_schema_extra
    return str(extra.get("source", "")) if isinstance(extra, dict) else ""


def from_si(value: Any, unit: str) -> Any:
    """A number (or tuple of numbers) in SI, written in ``unit``."""
    if isinstance(value, tuple):
        return tuple(from_si(v, unit) for v in value)
    if unit == "deg" and value is not None:
        return float(f"{math.degrees(value):.12g}")
    return _shifted(value, unit, -1)


def to_si(value: Any, unit: str) -> Any:
    """A number (or tuple of numbers) in ``unit``, in SI: 15 nm is exactly ``15e-9``."""
    if isinstance(value, tuple):
        return tuple(to_si(v, unit) for v in value)
    if unit == "deg" and value is not None:
        return math.radians(value)
    return _shifted(value, unit, 1)


def _shifted(value: Any, unit: str, sign: int) -> Any:
    """Move the decimal point; digits stay as they were written."""
    power = UNITS[unit][1] if unit else None
    if power is None or value is None:
        return value
    return float(Decimal(repr(float(value))).scaleb(sign * power))


def option_name(name: str, unit: str) -> str:
    """Name of a key without the ending that carries its unit."""
    return name.removesuffix(UNITS[unit][0]) if unit else name


def model_in(annotation: Any) -> tuple[type[Section] | None, str]:
    """The section inside an annotation, and how it is held: ``""``, ``"names"`` or ``"list"``."""
    if isinstance(annotation, type) and issubclass(annotation, Section):
        return annotation, ""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is dict:
        return model_in(args[1])[0], "names"
    if origin is tuple:
        return model_in(args[0])[0], "list"
    for arg in args:
        found = model_in(arg)
        if found[0] is not None:
            return found
    return None, ""


def sections(
    model: type[Section], path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], type[Section]]]:
    """A section and all below it: path of keys (``"*"`` for any name or number), section."""
    yield path, model
    for name, info in model.model_fields.items():
        inner, held = model_in(info.annotation)
        if inner is not None:
            yield from sections(inner, (*path, name, *(("*",) if held else ())))
