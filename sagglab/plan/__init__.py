"""Plans: which pots to make and fire next, and what they will be able to tell."""
