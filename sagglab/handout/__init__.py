"""Handouts: what is printed and carried to the bench, the kiln and the workshop."""
