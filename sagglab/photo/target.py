from sagglab.targets import Target, built_in_targets, read_target  # noqa: D100, F401
