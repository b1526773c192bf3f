"""Models that tell what the recipe did from what the firing did."""
