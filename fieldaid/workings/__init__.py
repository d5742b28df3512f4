"""Sourced calculations. `computed` runs those whose facts are told and names their results as computed facts."""

from fieldaid.workings.computed import COMPUTED, Computed, compute

__all__ = ["COMPUTED", "Computed", "compute"]
