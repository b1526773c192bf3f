"""Firings: temperature records read, checked and measured."""
