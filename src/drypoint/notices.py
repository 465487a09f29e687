"""Notices that are printed word for word in several places: origin of data, and safety."""

from __future__ import annotations

#: Of a study whose data are invented: footer of figures, files, document properties.
INVENTED = "Invented data"
#: Of results of a model: footer of figures, first line of files.
COMPUTED = "Computed, not measured"

#: What a file of an invented study says of itself where there is room for a sentence.
INVENTED_FILE = f"{INVENTED}: nothing in this file was measured."

#: Wherever the program asks for the tip to be cleaned.
CLEANING = (
    "Before cleaning the tip, retract it and lock the stage. Solvents can be flammable and "
    "harmful: ventilate, wear gloves and eye protection, keep sparks and flames away. Follow the "
    "instructions of the makers of tip and instrument."
)

#: Wherever scratched specimens are handled.
DEBRIS = (
    "Scratched coatings and brittle specimens shed sharp chips and fine dust: wear eye protection, "
    "do not blow the track clean, wipe wet, and keep dust of toxic coatings out of the air."
)


def origin(*, invented: bool, computed: bool = False) -> str:
    """What data are if not measured: a few words, empty for measured data."""
    parts = ([INVENTED] if invented else []) + ([COMPUTED] if computed else [])
    return "; ".join(parts[:1] + [p[0].lower() + p[1:] for p in parts[1:]])


def with_origin(reason: str, invented: bool) -> str:
    """A reason for the ledger; of an invented study it ends in “(invented data)”, once."""
    mark = f"({INVENTED.lower()})"
    return f"{reason} {mark}" if invented and not reason.endswith(mark) else reason


def of_invented(reason: str) -> bool:
    """Whether a reason in the ledger has the mark of :func:`with_origin`."""
    return reason.endswith(f"({INVENTED.lower()})")
