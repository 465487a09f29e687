"""Uncertainty: inputs in one joint distribution, propagation, series, comparison, rounding."""
