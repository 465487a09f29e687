"""Invented records with known truth, built backwards from it."""

from drypoint.simulation import plant
from drypoint.simulation.cycles import Cycle, Leg, cyclic, single, stepped, to_depth
from drypoint.simulation.demo import make_demo
from drypoint.simulation.record import Record, batch_of, simulate, simulate_batch, simulate_many
from drypoint.simulation.tracks import (
    Disturbance,
    TrackEvent,
    TrackRecord,
    TrackTruth,
    simulate_track,
)
from drypoint.simulation.truth import (
    FAULTS,
    Creep,
    Expected,
    Law,
    Noise,
    Oscillation,
    SimulationError,
    Truth,
)

__all__ = [
    "FAULTS",
    "Creep",
    "Cycle",
    "Disturbance",
    "Expected",
    "Law",
    "Leg",
    "Noise",
    "Oscillation",
    "Record",
    "SimulationError",
    "TrackEvent",
    "TrackRecord",
    "TrackTruth",
    "Truth",
    "batch_of",
    "cyclic",
    "make_demo",
    "plant",
    "simulate",
    "simulate_batch",
    "simulate_many",
    "simulate_track",
    "single",
    "stepped",
    "to_depth",
]
