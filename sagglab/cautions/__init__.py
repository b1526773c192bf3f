"""Cautions: what must be said about the recipes and firings actually used, and what they give off at most."""

from sagglab.cautions.air import GASES, Gas, gas_bounds
from sagglab.cautions.said import ALWAYS, DEFERS, cautions, kiln_cautions

__all__ = ["ALWAYS", "DEFERS", "GASES", "Gas", "cautions", "gas_bounds", "kiln_cautions"]
