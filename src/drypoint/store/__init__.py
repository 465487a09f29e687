"""Results on disk: tables, summaries, whole result sets with their list, and the stage cache."""

from drypoint.store.atomic import atomic_write
from drypoint.store.cache import Cache, Entry, cache_key
from drypoint.store.manifest import Manifest, Origin, faults, file_sha256, read_manifest
from drypoint.store.results import Results, new_results, read_results, recover
from drypoint.store.tables import read_csv, write_json, write_table

__all__ = [
    "Cache",
    "Entry",
    "Manifest",
    "Origin",
    "Results",
    "atomic_write",
    "cache_key",
    "faults",
    "file_sha256",
    "new_results",
    "read_csv",
    "read_manifest",
    "read_results",
    "recover",
    "write_json",
    "write_table",
]
