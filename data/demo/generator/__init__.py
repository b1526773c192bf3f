"""The generator of the demo batch book: an invented studio, its pots, its kiln and its cameras."""
