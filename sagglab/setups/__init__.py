"""Setups: whether two of them may be compared, how one is brought to the other, and what drifts."""
